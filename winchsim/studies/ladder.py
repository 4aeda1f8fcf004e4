"""The ladder: a plan of test loads from an unloaded run to the target; what each rung should show,
when to stop, and how the load comes down again."""

from collections.abc import Callable
from enum import StrEnum

import numpy as np

from winchsim.assessment.evaluate import assess
from winchsim.assessment.history import OFF_FLOOR, History, middle_mean, read_history
from winchsim.assessment.kinds import Assessment, Holding, Status
from winchsim.assessment.margins import stalled_until_hot
from winchsim.errors import TrustError, refuse_if
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Phase, with_value, with_values
from winchsim.model import UNLOADED, Machine, build, first_raise, trial_values
from winchsim.physics import heat
from winchsim.simulation import Record, simulate
from winchsim.slow import lift_all

PAUSE = 1.0
"""Power off between raising and lowering. [s] Own choice."""

SOME = 0.1
"""Torque of lowering motors over their own drag, below which the load does the work. [-] Own
choice."""


class Descent(StrEnum):
    """How the load comes down."""

    POWERED = "powered"
    OVERHAULS = "overhauls"
    """Under power, but the load drives the motors."""
    SHORTED = "joined_leads"
    NOT_DOWN = "not_down"
    """Not under power."""
    BREAKS = "breaks"
    """A part breaks as the motors lower."""


@dataclass(frozen=True)
class Lowering:
    """How the load of one rung comes down; where a pawl is fitted, with the pawl held open by hand.

    Attributes
    ----------
    descent : Descent
    time : float or None
        From the top to the floor. [s]
    current : float or None
        Of the supply on the way, its size. [A]
    speed : float or None
        Largest speed of the load downward. [m/s]
    part : str
        The part that breaks.
    """

    descent: Descent
    time: float | None = None
    current: float | None = None
    speed: float | None = None
    part: str = ""


def programme(inputs: Inputs, *after: Phase) -> Inputs:
    """Scenario that is raised to the top as it says, and then goes on with other phases; the time
    of a raise for a time is no limit of it."""
    step = first_raise(inputs)
    raised = step if step.until == "top" else replace(step, until="top", time=None)
    return replace(inputs, phase=(raised, *after))


def lowered(inputs: Inputs, *, held: bool) -> tuple[Lowering, Record | None]:
    """How the load comes down under power; where it drives the motors, whether joined leads brake
    it.

    Parameters
    ----------
    inputs : Inputs
    held : bool
        Whether the load stays up with the power off, so that it can come to rest first.

    Returns
    -------
    (Lowering, Record or None)
        The record is that of the run under power; None where it could not be made.
    """
    own = next((phase for phase in inputs.phase if phase.action == "lower"), Phase(action="lower"))
    rest = (Phase(action="off", until="time", time=PAUSE),) if held else ()
    try:
        record = simulate(programme(inputs, *rest, replace(own, until="floor")))
    except TrustError:
        return Lowering(Descent.NOT_DOWN), None
    if record.broken_link is not None:
        return Lowering(Descent.BREAKS, part=record.broken_link.label), record
    history = read_history(record)
    found = _down(history, "lower") or Lowering(Descent.NOT_DOWN)
    if found.descent is Descent.POWERED and _drives(history):
        found = _on_joined_leads(inputs) or replace(found, descent=Descent.OVERHAULS)
    return found, record


def _down(history: History, action: str) -> Lowering | None:
    """The last phase of a run as a descent to the floor; None where it is none."""
    span, record = history.spans[-1], history.record
    landed = record["height"][span.samples.stop - 1] <= OFF_FLOOR
    if span.step.action != action or not landed or span.end <= span.start:
        return None
    return Lowering(
        Descent.POWERED,
        time=float(span.end - span.start),
        current=middle_mean(record.time, np.abs(record["current"]), span.start, span.end),
        speed=float(max(0.0, -record["speed"][span.samples].min())),
    )


def _drives(history: History) -> bool:
    """Whether the load drives the lowering motors: their torque holds it back or is next to
    none."""
    record, span, groups = history.record, history.spans[-1], history.machine.groups
    shown = [record[f"motor_{g.number}_torque"] for g in groups]
    means = [middle_mean(record.time, torque, span.start, span.end) for torque in shown]
    push = sum(g.count * g.ratio * mean for g, mean in zip(groups, means, strict=True))
    return push >= -SOME * sum(g.count * g.ratio * g.motor.drag for g in groups)


def _on_joined_leads(inputs: Inputs) -> Lowering | None:
    """Lowering on joined leads, where the load comes down no faster than twice the lift."""
    inputs = programme(replace(inputs, pawl=None), Phase(action="short", until="floor"))
    history = read_history(simulate(inputs))
    found, lift = _down(history, "short"), history.lift_time
    if found is None or found.time is None or lift is None or found.time < lift / 2:
        return None
    return replace(found, descent=Descent.SHORTED, current=0.0)


SHARES = (0.1, 0.25, 0.5, 0.75, 1.0)
"""Loaded rungs, as shares of the target. [-] Common practice, no published source: small first, the
last steps no larger than a quarter."""

STOP_AT = 1.25
"""Time or current over the prediction at which a test is stopped. [-] Own choice: what data sheets
and friction leave open."""

STOP_UNLOADED = 1.5
"""The same for the unloaded run, whose drag is what it is to measure. [-] Own choice."""

COOL = 5.0
"""The next rung begins when the windings are this near to the air's temperature. [K] Own choice."""

LONGEST_REST = 120
"""Longest rest that is planned [min]; a motor that is warmer then starts warm."""

GAP = 0.05
"""Most that may be between the load and the catch under it. [m] Own choice: a fall of a tenth of a
second."""

CUT = 3.0
"""Time within which the power goes off when the load stops, or a third of the time until a stalled
winding reaches its limit, if less. [s]"""

WATCH = 10.0
"""Shortest watch of the held load. [s]"""


@dataclass(frozen=True)
class Rung:
    """One step of the ladder, as predicted.

    Attributes
    ----------
    number : int
        From 1, the unloaded run.
    mass : float
        0 for the unloaded run. [kg]
    assessment : Assessment or None
        Of its full run: raised, and watched with the power off. None for the unloaded run, which
        the quasi-static model finds.
    lift_time, current, voltage : float or None
        Lift time [s]; current of the supply [A] and voltage at the motors [V] in the middle half
        of the lift. None where the load is not lifted.
    winding_start, winding_end : float
        Of the hottest group. [°C]
    coast : float
        How far the load goes on when the power goes off at the top. [m]
    cut : float
        Power off within this time when the load stops. [s]
    rest : float
        Pause before the rung for cooling. [s]
    lowering : Lowering or None
        None where nothing is lifted.
    """

    number: int
    mass: float
    assessment: Assessment | None
    lift_time: float | None
    current: float | None
    voltage: float | None
    winding_start: float
    winding_end: float
    coast: float
    cut: float
    rest: float
    lowering: Lowering | None

    @property
    def status(self) -> Status:
        """Of its assessment; of the unloaded run whether the drum winds all the rope."""
        if self.assessment is not None:
            return self.assessment.status
        return Status.FAILS if self.lift_time is None else Status.OK

    @property
    def exit_code(self) -> int:
        """As that of an assessment."""
        found = self.assessment
        return int(self.status is Status.FAILS) if found is None else found.exit_code

    @property
    def stop_time(self) -> float | None:
        """Stop when the lift takes longer. [s]"""
        return None if self.lift_time is None else self._stop * self.lift_time

    @property
    def stop_current(self) -> float | None:
        """Stop when the supply gives more. [A]"""
        return None if self.current is None else self._stop * self.current

    @property
    def _stop(self) -> float:
        return STOP_AT if self.mass else STOP_UNLOADED


@dataclass(frozen=True)
class Ladder:
    """A plan of tests.

    Attributes
    ----------
    inputs : Inputs
        With the load of the last rung.
    machine : Machine
        Of the target, without a snag.
    rungs : tuple of Rung
        Up to the first that is not lifted whole, that one included.
    records : tuple of Record
        Of the loaded rungs, each raised and watched.
    """

    inputs: Inputs
    machine: Machine
    rungs: tuple[Rung, ...]
    records: tuple[Record, ...]

    @property
    def status(self) -> Status:
        """Of the worst rung."""
        return min((rung.status for rung in self.rungs), key=lambda status: status.rank)

    @property
    def exit_code(self) -> int:
        """Of the worst rung."""
        return max(rung.exit_code for rung in self.rungs)

    @property
    def failing(self) -> Rung | None:
        """The first rung that fails; no rung from there on is to be run."""
        return next((rung for rung in self.rungs if rung.exit_code), None)


def plan_ladder(
    inputs: Inputs,
    *,
    target: float | None = None,
    rungs: int = len(SHARES),
    on_progress: Callable[[int, int], object] = lambda *_: None,
) -> Ladder:
    """Plan of test loads up to a target.

    Parameters
    ----------
    inputs : Inputs
    target : float, optional
        Load of the last rung; left out, the scenario's. [kg]
    rungs : int
        Loaded rungs, at least 1.
    on_progress : callable
        Called with the rungs done and their number.

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built, or there is no loaded rung.
    """
    refuse_if(rungs < 1, "rungs", rungs, "at least 1")
    if target is not None:
        inputs = with_value(inputs, "load.mass", target)
    free = replace(inputs, load=replace(inputs.load, snag_height=None))
    machine, masses = build(free), _masses(inputs.load.mass, rungs)
    found, records = [_unloaded(free, machine)], []
    warm, rest = {g.number: g.winding_start for g in machine.groups}, 0.0
    on_progress(1, len(masses) + 1)
    for place, mass in enumerate(masses, start=2):
        own = with_values(free, trial_values(free, mass=mass, winding_start=warm))
        rung, raised, last = _rung(place, own, rest)
        found.append(rung)
        records.append(raised)
        if rung.lowering is None:
            break
        warm, rest = _rested(machine, last)
        on_progress(place, len(masses) + 1)
    return Ladder(inputs, machine, tuple(found), tuple(records))


def _masses(target: float, rungs: int) -> list[float]:
    """Loads of the rungs, rounded to what people weigh; the last is the target itself."""
    shares: tuple[float, ...] = SHARES
    if rungs != len(SHARES):
        shares = (0.1, *np.linspace(0.25, 1.0, rungs - 1)) if rungs > 2 else (0.5, 1.0)[-rungs:]
    rounded = dict.fromkeys(float(f"{share * target:.2g}") for share in shares[:-1])
    return [*(mass for mass in rounded if mass < target), target]


def _rested(machine: Machine, record: Record) -> tuple[dict[int, float], float]:
    """Winding temperatures at the next start, by motor group, and the pause: whole minutes. [°C],
    [s]"""
    minutes, air = np.arange(1.0, LONGEST_REST + 1), machine.ambient
    cooled = {
        g.number: heat.step_exact(g.heat, 0.0, winding, case, air, minutes * 60)[0]
        for g, winding, case in zip(
            machine.groups, *read_history(record).temperatures(np.inf), strict=True
        )
    }
    cool = np.all(np.array(list(cooled.values())) <= air + COOL, axis=0)
    place = int(np.argmax(cool)) if cool.any() else LONGEST_REST - 1
    return {number: float(row[place]) for number, row in cooled.items()}, float(minutes[place] * 60)


def _rung(number: int, inputs: Inputs, rest: float) -> tuple[Rung, Record, Record]:
    """A loaded rung, the record of its lift, and that of the run which warms the motors most."""
    watch = max(inputs.settings.watch, WATCH)
    record = simulate(programme(inputs, Phase(action="off", until="time", time=watch)))
    found, history, m = assess(record, actions=False), read_history(record), record.machine
    whole = found.trusted and history.lift_time is not None and record.broken_link is None
    lowering, last = lowered(inputs, held=found.held is not Holding.NONE) if whole else (None, None)
    rung = Rung(
        number=number,
        mass=inputs.load.mass,
        assessment=found,
        lift_time=history.lift_time if whole else None,
        current=history.steady("current") if whole else None,
        voltage=history.steady("voltage") if whole else None,
        winding_start=max(g.winding_start for g in m.groups),
        winding_end=max(float(record[f"motor_{g.number}_winding"].max()) for g in m.groups),
        coast=max(float(record["height"].max() - m.height(m.top_travel)), 0.0),
        cut=min(CUT, stalled_until_hot(m) / 3),
        rest=rest,
        lowering=lowering,
    )
    return rung, record, record if last is None else last


def _unloaded(inputs: Inputs, machine: Machine) -> Rung:
    """The unloaded run: the drum winds the rope of the lift with nothing on it."""
    light = lift_all(inputs, {"load.mass": [inputs.load.mass * UNLOADED]})
    lifted = bool(light.lifted[0])
    return Rung(
        number=1,
        mass=0.0,
        assessment=None,
        lift_time=float(light.lift_time[0]) if lifted else None,
        current=float(light.steady_current[0]) if lifted else None,
        voltage=float(light.steady_voltage[0]) if lifted else None,
        winding_start=max(g.winding_start for g in machine.groups),
        winding_end=float(light.peak_winding[0]),
        coast=0.0,
        cut=min(CUT, stalled_until_hot(machine) / 3),
        rest=0.0,
        lowering=None,
    )
