"""The record of a lift: every channel over time, every event, the demand on every link, and the
energy balance.

It has the same shape however the run ended: arrays over the same times, named channels, events in
order.
"""

from __future__ import annotations

from collections.abc import Mapping
from importlib import import_module
from typing import Any

import numpy as np

from winchsim.errors import did_you_mean
from winchsim.frozen import dataclass
from winchsim.hybrid import Outcome, Stats
from winchsim.inputs import Inputs
from winchsim.model import AtLink, Event, LinkLimit, Machine, RecordedEvent
from winchsim.physics.load import Fall, fall

ENERGY_LIMIT = 1e-4
"""The balance must close to this share of the largest of source energy, change of potential energy
and stored energy. [-]"""


@dataclass(frozen=True)
class Channel:
    """One quantity of the record over time.

    Attributes
    ----------
    name : str
        Key in CSV and JSON, without its unit.
    unit : str
        SI unit, one of quantity_text.PRINTED_UNITS.
    label : str
        For people.
    values : ndarray, shape (k,)
    """

    name: str
    unit: str
    label: str
    values: np.ndarray


@dataclass(frozen=True)
class EnergyBalance:
    """Where the energy went.

    Attributes
    ----------
    source : float
        Given by the source; negative where it took some back. [J]
    spent : Mapping of str to float
        Turned into heat, wound away or lost in impacts, by term. [J]
    stored_before, stored_after : Mapping of str to float
        [J]
    residual : float
        Source less spent less gained in store. [J]
    scale : float
        Largest of source energy, change of potential energy, initially stored energy and
        `LEAST_SHARE` of the energy that the whole lift gives the load; over 0. [J]
    """

    source: float
    spent: Mapping[str, float]
    stored_before: Mapping[str, float]
    stored_after: Mapping[str, float]
    residual: float
    scale: float

    @property
    def error(self) -> float:
        """Residual over scale. [-]"""
        return abs(self.residual) / self.scale

    @property
    def closes(self) -> bool:
        """Whether the balance closes to its limit."""
        return self.error <= ENERGY_LIMIT


@dataclass(frozen=True)
class LinkDemand:
    """The worst that was asked of one link, and when.

    Attributes
    ----------
    link : int
        Place in the machine's links.
    share : float
        Demand over strength. [-]
    time, height : float
        [s], [m]
    bound : bool
        Whether it is only the least of what friction leaves open (a held train).
    """

    link: int
    share: float
    time: float
    height: float
    bound: bool


@dataclass(frozen=True)
class Record:
    """Result of a simulation.

    Attributes
    ----------
    machine : Machine
    inputs : Inputs or None
        Scenario that it was built from.
    outcome : Outcome
        How the integration ended.
    time : ndarray, shape (k,)
        Ascending; at a switch two neighbouring samples share the time where something jumps. [s]
    channels : Mapping of str to Channel
        All of shape (k,).
    bound : ndarray of bool, shape (k,)
        Where the drum is held: tooth forces are the least there of what friction leaves open.
    limited : ndarray of bool, shape (k,)
        Where the supply gives less voltage than it would hold without its current limit.
    segment_starts : ndarray of int
        First sample of each segment: nothing is to be interpolated across.
    phase : ndarray of int, shape (k,)
        Phase of each sample.
    events : tuple of RecordedEvent
    energy : EnergyBalance
    demands : tuple of LinkDemand
        One for each link of the machine, in its order.
    stats : Stats
    relative_tolerance : float
        That it was computed with: what was asked for, or a tighter one where the balance did not
        close at that. [-]
    runs : int
        How many times it was run, each time with a tighter tolerance. [-]
    sampled : Record or None
        The same run at every ``settings.sample_step``, for tables; None where the scenario gives
        none or none was asked for. Nothing is judged on it: between its samples anything may
        happen.
    """

    machine: Machine
    inputs: Inputs | None
    outcome: Outcome
    time: np.ndarray
    channels: Mapping[str, Channel]
    bound: np.ndarray
    limited: np.ndarray
    segment_starts: np.ndarray
    phase: np.ndarray
    events: tuple[RecordedEvent, ...]
    energy: EnergyBalance
    demands: tuple[LinkDemand, ...]
    stats: Stats
    relative_tolerance: float
    runs: int = 1
    sampled: Record | None = None

    def __post_init__(self) -> None:
        for array in (self.time, *(channel.values for channel in self.channels.values())):
            array.flags.writeable = False

    def __repr__(self) -> str:
        return (
            f"<Record of {self.machine.title or 'untitled'!r}: {len(self.time)} samples, "
            f"{self.time[-1]:.4g} s, {self.outcome.name.lower()}>"
        )

    def _repr_html_(self) -> str:
        assessed = import_module("winchsim.assessment.evaluate").assess(self, actions=False)
        return str(import_module("winchsim.report.lift").html(assessed, self))

    def __getitem__(self, name: str) -> np.ndarray:
        """Values of a channel in SI by name, read-only: ``record["height"]``; ``time`` for the
        times.

        Raises
        ------
        KeyError
            No such channel; names the nearest one.
        """
        if name == "time":
            return self.time
        if name not in self.channels:
            raise KeyError(
                f"no channel {name!r}: "
                f"{did_you_mean(name, self.channels) or ', '.join(self.channels)}"
            )
        return self.channels[name].values

    def to_frame(self) -> Any:
        """All channels over time as a pandas DataFrame, columns in SI; needs pandas."""
        import pandas  # only here: nothing else needs it

        return pandas.DataFrame(
            {name: channel.values for name, channel in self.channels.items()},
            index=pandas.Index(self.time, name="time"),
        )

    @property
    def broken_link(self) -> LinkLimit | None:
        """The link that broke, which ended the run."""
        broke = self.first(Event.OVERLOAD)
        target = None if broke is None else broke.target
        return self.machine.links[target.index] if isinstance(target, AtLink) else None

    @property
    def fall(self) -> Fall | None:
        """Fall of the load after a break, free but for its own friction; None where nothing broke
        or the pawl on the drum holds it.

        So it falls where its rope has gone. Where a part in front of the drum has broken, what is
        left of the train turns with the load: it takes longer and lands slower, and this is the
        bound.
        """
        broken = self.broken_link
        if broken is None or (self.machine.pawl and not broken.kind.is_behind_pawl):
            return None
        return fall(
            self.machine.body,
            float(self["height"][-1]) / self.machine.body.rise,
            float(self["speed"][-1]),
        )

    def first(self, event: Event) -> RecordedEvent | None:
        """First event of a kind, or None."""
        return next((e for e in self.events if e.event is event), None)
