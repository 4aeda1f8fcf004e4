"""Ranges of the results that come from what was assumed.

Assumed inputs that are wrong together form a cause. Each cause is taken to its low and to its high
end in the quasi-static model. Margins, factors, speeds and temperature rises are combined as
logarithms, the share of the load's torque that drives the motors back as it is; per side each cause
counts once, with its larger effect that way, and effects add as the root of the sum of squares. The
two causes that lower the starting margin most are also tried together.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import field
from typing import Any

import numpy as np

from winchsim.assessment.kinds import Cause, CheckKey, ReadingKey
from winchsim.errors import WinchsimError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, with_value
from winchsim.model import Machine
from winchsim.model.build import rebuild
from winchsim.model.estimate import hanging_pulls
from winchsim.model.machine import Assumed
from winchsim.physics.chain import driven_back, shaft_ratios
from winchsim.slow import Batch, End, lift_batch, stack_machines
from winchsim.slow.lifts import Lifts, starting_margins
from winchsim.slow.stacking import shape_of
from winchsim.strength.link import LinkKind

Key = CheckKey | ReadingKey | LinkKind

_NAMES = (
    (r"stage\.\d+\.friction", "mesh_friction"),
    (r".*reverse_efficiency", "reverse_efficiency"),
    (r".*bearing.*|.*shaft_diameter", "bearings"),
    (r".*efficiency", "efficiency"),
    (r".*shaft_drag", "shaft_drag"),
    (r".*heat_capacity", "heat_capacity"),
    (r".*(winding_to_case|case_to_ambient)", "heat_resistance"),
    (r"settings\.breakaway", "breakaway"),
    (r"supply\..*", "supply"),
)
"""Cause of a path; of any other it is the last part of the path, like for like."""

FAR = 1e4
"""Multiple of the load at which the line of the torque passed up is read. [-]"""

NEGLIGIBLE = 1e-4
"""Change of a logarithm that counts as none. [-]"""

LOGS: Mapping[Key, str] = {
    CheckKey.LIFT_TIME: "lift_time",
    CheckKey.START_COLD: "stall_margin_cold",
    CheckKey.START_HOT: "stall_margin_hot",
    CheckKey.BATTERY: "charge",
    CheckKey.JAM: "stall_factor",
    ReadingKey.SPEED: "last_speed",
    ReadingKey.PEAK_TENSION: "peak_tension",
    ReadingKey.ENERGY_IN: "energy_in",
    ReadingKey.CHARGE: "charge",
}
"""Results of the quasi-static model whose logarithm is combined."""

IF_ALIKE = frozenset(
    {
        CheckKey.WINDING,
        CheckKey.CONTINUOUS_CURRENT,
        ReadingKey.PEAK_CURRENT,
        ReadingKey.MEAN_CURRENT,
    }
)
"""Compared only with variants that end as the base does; the temperature of a winding where both
miss the target after the same time under power."""

ONLY_IF_LIFTED = frozenset({CheckKey.LIFT_TIME, CheckKey.BATTERY, *ReadingKey}) - IF_ALIKE
"""Compared only where both are lifted."""


@dataclass(frozen=True)
class HoldShare:
    """Share of the load's torque that drives the motors back; at most 0 holds. [-]

    Attributes
    ----------
    net : float
        What is left of it behind all friction; negative where friction is stronger.
    slope : float
        What each further part of the load adds; at most 0 locks.
    """

    net: float
    slope: float

    @property
    def margin(self) -> float:
        """Pull that is just held over the pull of the load; infinite where the train locks. [-]"""
        return 1 - self.net / self.slope if self.slope > 0 else math.inf

    def compared_to(self, other: HoldShare) -> float:
        """Logarithm of the ratio of two margins; where one locks, difference of the net shares."""
        if 0 < self.margin < math.inf and 0 < other.margin < math.inf:
            return math.log(self.margin / other.margin)
        return other.net - self.net


@dataclass(frozen=True)
class Ranges:
    """What the assumed inputs leave open.

    Attributes
    ----------
    causes : tuple of Cause
        With an effect, largest first.
    groups : Mapping of str to str
        Cause of each assumed path that was varied.
    spans : Mapping of key to (float, float)
        Factors on each result at the low and at the high end. [-]
    hold : Mapping of CheckKey to (HoldShare, HoldShare, HoldShare)
        Middle, least and most driven back.
    worst : Mapping of key to (str, str)
        The cause that moves each result most down, and most up.
    never : str
        Cause that alone, or with another one, keeps the load from its target though the build as
        described reaches it; empty for none.
    end : End
        How the lift ends in the quasi-static model without a time limit of its own.
    """

    causes: tuple[Cause, ...]
    groups: Mapping[str, str]
    spans: Mapping[Key, tuple[float, float]]
    hold: Mapping[CheckKey, tuple[HoldShare, HoldShare, HoldShare]]
    worst: Mapping[Key, tuple[str, str]]
    never: str
    end: End

    def span(self, key: Key) -> tuple[float, float]:
        """Factors on a result at the low and at the high end; 1 and 1 where nothing moves it."""
        return self.spans.get(key, (1.0, 1.0))


@dataclass
class _Variant:
    """One cause at one end, and what comes of it."""

    machine: Machine
    name: str = ""
    side: str = ""
    logs: dict[Key, float] = field(default_factory=dict)
    hold: dict[CheckKey, HoldShare] = field(default_factory=dict)
    ended: End = End.CANNOT_BE_BUILT

    @property
    def lifted(self) -> bool:
        return self.ended is End.LIFTED


def find_ranges(inputs: Inputs, machine: Machine, powered_for: float = math.inf) -> Ranges | None:
    """Ranges of a build; None where its programme does not raise.

    Parameters
    ----------
    inputs : Inputs
        Scenario of the build.
    machine : Machine
        Built from it.
    powered_for : float
        Time for which the first raise took power where it missed its target; infinite where it
        did not. [s]
    """
    if all(phase.action != "raise" for phase in machine.phases):
        return None
    return find_each([(inputs, machine)], powered_for)[0]


def find_each(builds: Sequence[tuple[Inputs, Machine]], powered_for: float = 0.0) -> list[Ranges]:
    """Ranges of several builds at once, as `find_ranges` of each; their programmes are the same and
    raise."""
    started = [(*build, group_causes(build[1].assumed)) for build in builds]
    variants = [[_Variant(machine)] for _, machine in builds]
    for (inputs, machine, groups), own in zip(started, variants, strict=True):
        for name, rows in groups.items():
            for end in ("low", "high"):
                changed = _moved(inputs, machine, (rows, end))
                if changed is not None:
                    own.append(_Variant(changed, name, end))
    _run(builds[0][0], [variant for own in variants for variant in own], powered_for)
    done = []
    for (inputs, machine, groups), own in zip(started, variants, strict=True):
        found, ended = _combined(own, groups), own[0].ended
        found.update(never=_never(inputs, machine, groups, own, found["spans"], ended))
        named = {row.path: name for name, rows in groups.items() for row in rows}
        done.append(Ranges(groups=named, end=ended, **found))
    return done


def group_causes(rows: Sequence[Assumed]) -> dict[str, list[Assumed]]:
    """Assumed values with a range, by cause.

    Parameters
    ----------
    rows : sequence of Assumed
    """
    paths = {row.path for row in rows if _ranged(row)}
    found: dict[str, list[Assumed]] = {}
    for row in rows:
        derived = (
            row.path.endswith(".efficiency")
            and row.path.replace(".efficiency", ".friction") in paths
        )
        if _ranged(row) and not derived:
            name = next(
                (name for pattern, name in _NAMES if re.fullmatch(pattern, row.path)),
                row.path.rpartition(".")[2],
            )
            found.setdefault(name, []).append(row)
    return found


UNMOVED = re.compile(
    r"drum\.anchor_friction|factors\..*|.*(strength|stress|walls|infill|material).*"
    r"|rope\..*|.*(magnet_coefficient|rotor_inertia)"
)
"""Paths that are not varied: ranges of a part's capacity, which the part itself carries, and values
whose ends move every result by less than 3 %."""


def _ranged(row: Assumed) -> bool:
    if UNMOVED.fullmatch(row.path):
        return False
    return row.low is not None and row.high is not None and row.high > row.low


def _moved(
    inputs: Inputs, machine: Machine, *sides: tuple[Sequence[Assumed], str]
) -> Machine | None:
    """The winch with the values of some causes at one end each; None where none can be built."""
    changed = inputs
    try:
        for rows, end in sides:
            for row in rows:
                changed = with_value(changed, row.path, end_of(row, end))
        return rebuild(changed, machine)
    except WinchsimError:
        return None


def end_of(row: Assumed, end: str) -> float:
    """Value at an end of its cause, which counts by losses: an efficiency goes the other way.

    A hair inside, so that a part without any loss stays an element of the chain and all variants
    have one shape.

    Parameters
    ----------
    row : Assumed
        With a range.
    end : str
        ``low`` or ``high``.
    """
    ends = (float(row.low or 0.0), float(row.high or 0.0))
    if (end == "high") is row.path.endswith("efficiency"):
        return ends[0] + INSIDE * (ends[1] - ends[0])
    return ends[1] - INSIDE * (ends[1] - ends[0])


INSIDE = 1e-6
"""Share of a range by which its ends are kept inside it. [-]"""


# --- running ----------------------------------------------------------------------------------


def _run(inputs: Inputs, variants: Sequence[_Variant], powered_for: float) -> None:
    """Quasi-static lifts of variants, written into them."""
    by_shape: dict[Any, list[int]] = {}
    for place, variant in enumerate(variants):
        by_shape.setdefault(shape_of(variant.machine), []).append(place)
    for places in by_shape.values():
        batch = stack_machines([variants[place].machine for place in places])
        batch = replace(batch, coarse=True, powered_until=powered_for)
        if not any(phase.action == "raise" and phase.time is not None for phase in inputs.phase):
            batch = replace(batch, raising=replace(batch.raising, time=np.inf))
        lifts, hold = lift_batch(batch), hold_shares(batch)
        logs = _logs(batch, lifts)
        for k, place in enumerate(places):
            variants[place].ended = End(int(lifts.end[k]))
            variants[place].logs = {
                key: float(values[k]) for key, values in logs.items() if math.isfinite(values[k])
            }
            variants[place].hold = {
                key: HoldShare(*(float(v[k]) for v in pair)) for key, pair in hold.items()
            }


def _logs(batch: Batch, lifts: Lifts) -> dict[Key, np.ndarray]:
    with np.errstate(divide="ignore", invalid="ignore"):
        found: dict[Key, np.ndarray] = {
            key: np.log(getattr(lifts, name)) for key, name in LOGS.items()
        }
        standing, running = lifts.standstill_current, lifts.peak_current
        peak = np.where(
            lifts.lifted & (batch.raising.ramp > 0), running, np.fmax(standing, running)
        )
        mean = np.where(lifts.lifted, lifts.mean_current, standing)
        found[ReadingKey.PEAK_CURRENT] = np.log(peak)
        found[ReadingKey.MEAN_CURRENT] = found[CheckKey.CONTINUOUS_CURRENT] = np.log(mean)
        found[CheckKey.WINDING] = np.log(lifts.tight_winding - batch.machine.ambient)
        for place, kind in enumerate(LinkKind):
            found[kind] = np.log(lifts.kind_factors[place])
    return found


def hold_shares(batch: Batch) -> dict[CheckKey, tuple[Any, Any]]:
    """Net share and slope of the load's torque that drives the motors back from the top, by check.

    Parameters
    ----------
    batch : Batch

    Notes
    -----
    From the pull that is just held on, every torque of the chain runs back, so that what is passed
    up is a straight line; it is read far out, where no drag turns a torque's direction.
    """
    m, chain, n = batch.machine, batch.machine.braked_chain, batch.size
    last = m.wound_at_start + m.line.falls * (m.top_travel - m.start_travel)
    place = np.minimum((batch.ends < last).sum(axis=0), batch.layer_counts - 1)
    radius = batch.radii[place, np.arange(n)]
    pulls = hanging_pulls(m, m.top_travel)
    found = {}
    for key, tension, grip in (
        (CheckKey.HOLD, pulls.at_rest, m.breakaway),
        (CheckKey.HOLD_DISTURBED, pulls.sliding, 1.0),
    ):
        torque = np.maximum(tension * radius, 1e-12)
        whole = torque / shaft_ratios(chain)[0]
        once, twice = (driven_back(chain, torque * far, grip) for far in (FAR, 2 * FAR))
        slope = (twice - once) / (FAR * whole)
        net = np.where(tension * np.ones(n) > 0, slope + (2 * once - twice) / whole, -1.0)
        found[key] = (net + np.zeros(n), slope + np.zeros(n))
    return found


# --- combining --------------------------------------------------------------------------------


def _combined(
    variants: Sequence[_Variant], groups: Mapping[str, Sequence[Assumed]]
) -> dict[str, Any]:
    """Causes, spans and holding of variants, the first of which is the build as described."""
    base, others = variants[0], variants[1:]
    effects: dict[str, dict[Key, list[float]]] = {}
    for variant in others:
        own = effects.setdefault(variant.name, {})
        for key, value in variant.logs.items():
            alike = variant.lifted is base.lifted or key not in IF_ALIKE | ONLY_IF_LIFTED
            if key in base.logs and alike and (base.lifted or key not in ONLY_IF_LIFTED):
                own.setdefault(key, []).append(value - base.logs[key])
    keys = {key for own in effects.values() for key in own}
    spans, worst = {}, {}
    for key in keys:
        down, up = (
            {name: end((0.0, *own.get(key, ()))) for name, own in effects.items()}
            for end in (min, max)
        )
        spans[key] = (math.exp(-_root(down.values())), math.exp(_root(up.values())))
        worst[key] = (_most(down), _most(up))
    hold = {}
    for key, share in base.hold.items():
        moves: dict[str, list[tuple[float, float]]] = {v.name: [] for v in others}
        for v in others:
            moves[v.name].append((v.hold[key].net - share.net, v.hold[key].slope - share.slope))
        ends = []
        for end, sign in ((min, -1), (max, 1)):
            net = _root(end(0.0, *(a for a, _ in own)) for own in moves.values())
            slope = _root(end(0.0, *(b for _, b in own)) for own in moves.values())
            ends.append(HoldShare(share.net + sign * net, share.slope + sign * slope))
        hold[key] = (share, *ends)
        worst[key] = (
            _most({name: max(0.0, *(a for a, _ in own)) for name, own in moves.items()}),
            "",
        )
        for v in others:
            effects[v.name].setdefault(key, []).append(v.hold[key].compared_to(share))
    causes = []
    for name, own in effects.items():
        kept = {
            key: (ends[0], ends[-1])
            for key, ends in own.items()
            if isinstance(key, CheckKey) and max(map(abs, ends)) > NEGLIGIBLE
        }
        other = any(v.name == name and v.lifted is not base.lifted for v in others)
        turns = CheckKey.TARGET if other else None
        if kept or turns:
            causes.append(Cause(name, tuple(row.path for row in groups[name]), kept, turns))
    causes.sort(key=lambda c: -max((max(map(abs, ends)) for ends in c.effects.values()), default=0))
    return dict(causes=tuple(causes), spans=spans, hold=hold, worst=worst)


def _root(effects: Any) -> float:
    return math.sqrt(sum(effect * effect for effect in effects))


def _most(effects: Mapping[str, float]) -> str:
    name = max(effects, key=lambda name: abs(effects[name]), default="")
    return name if name and abs(effects[name]) > NEGLIGIBLE else ""


def _never(
    inputs: Inputs,
    machine: Machine,
    groups: Mapping[str, Sequence[Assumed]],
    variants: Sequence[_Variant],
    spans: dict[Key, tuple[float, float]],
    end: End,
) -> str:
    """The cause that keeps the load from its target; the worst two together widen the spans."""
    base = variants[0]
    if end is not End.LIFTED:
        return ""
    alone = next((v.name for v in variants[1:] if not v.lifted), "")
    key = CheckKey.START_HOT
    falls: dict[str, tuple[float, str]] = {}
    for variant in variants[1:]:
        fall = variant.logs.get(key, 0.0) - base.logs.get(key, 0.0)
        falls[variant.name] = min(
            falls.get(variant.name, (0.0, variant.side)), (fall, variant.side)
        )
    two = sorted(falls, key=lambda name: falls[name])[:2]
    if len(two) == 2 and falls[two[1]][0] < -NEGLIGIBLE:
        both = _moved(inputs, machine, *((groups[name], falls[name][1]) for name in two))
        margins = () if both is None else starting_margins(stack_machines([both]))[:2]
        for each, margin in zip((CheckKey.START_COLD, CheckKey.START_HOT), margins, strict=False):
            low, high = spans[each]
            spans[each] = (min(low, float(np.ravel(margin)[0]) / math.exp(base.logs[each])), high)
    low = math.exp(base.logs.get(key, math.inf)) * spans.get(key, (1.0, 1.0))[0]
    return alone or (two[0] if two and low < 1 else "")
