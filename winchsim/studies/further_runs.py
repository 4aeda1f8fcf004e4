"""Further runs of a lift: a snag at half height while the motors keep pulling, with the part that
breaks and the current limit that prevents it; and a series of equal lifts with pauses, in which
windings and cases warm up, the battery runs down, and damage of the teeth adds.

Every answer is a full simulation of the lift: the rotors' momentum in a snag is in it.
"""

import math

from winchsim.assessment.evaluate import assess
from winchsim.assessment.history import read_history
from winchsim.assessment.jam import ABOVE_NEED, jam
from winchsim.assessment.kinds import CheckKey, End, Jam, NoLimit, Status, ToothLife
from winchsim.assessment.teeth import damage, tooth_lives
from winchsim.errors import refuse_if
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, in_force
from winchsim.model import Event, build, first_raise
from winchsim.physics import heat
from winchsim.simulation import Record, simulate

HALVINGS = 6
"""Halvings of the current limit: it is found to a sixty-fourth of its range. [-]"""


@dataclass(frozen=True)
class SnagRun:
    """One simulated snag.

    Attributes
    ----------
    current_limit : float or None
        None for no limit. [A]
    broke : str
        The part that broke; empty where the motors stalled first.
    factor : float
        Smallest factor of any link, 1 where one broke. [-]
    weakest : str
        The link that it belongs to.
    peak_tension : float
        [N]
    reached : bool
        Whether the load came as far as the snag, or left the floor before a link broke.
    snagged : bool
        Whether it met the snag.
    """

    current_limit: float | None
    broke: str
    factor: float
    weakest: str
    peak_tension: float
    reached: bool
    snagged: bool


@dataclass(frozen=True)
class SnagStudy:
    """What a snag does.

    Attributes
    ----------
    height : float
        Where the load snags. [m]
    as_built : SnagRun
        With the current limit in force.
    without_limit : SnagRun
        With none.
    safe : SnagRun or None
        Under the largest current limit found with which the motors stall before any part breaks;
        None where nothing breaks, or where no limit that still raises the load prevents it.
    no_limit : NoLimit
        Why there is none.
    """

    height: float
    as_built: SnagRun
    without_limit: SnagRun
    safe: SnagRun | None
    no_limit: NoLimit


def snag_study(inputs: Inputs) -> SnagStudy | None:
    """What a snag does to a lift, and the current limit that would save every link.

    Parameters
    ----------
    inputs : Inputs
        A scenario that raises its load; its own snag is used, or one at half its height is put in
        its way.

    Returns
    -------
    SnagStudy or None
        None where the load never comes as far as the snag.

    Raises
    ------
    InputError
        The scenario cannot be built.
    """
    height = inputs.load.snag_height or inputs.load.start_height + inputs.load.height / 2
    base = replace(
        inputs, load=replace(inputs.load, snag_height=height), phase=(first_raise(inputs),)
    )
    limits = base.phase[0].current_limit, inputs.supply.current_limit
    own = next((limit for limit in limits if limit is not None), None)
    as_built = _snag_run(base, own)
    without = as_built if own is None else _snag_run(base, None)
    if not as_built.reached:
        return None
    jammed, safe, reason = jam(build(base)), None, NoLimit.NOT_NEEDED
    if jammed and (as_built.broke or without.broke):
        safe = _safe_run(base, jammed)
    if jammed and as_built.broke and safe is None:
        reason = jammed.no_limit or NoLimit.ROTORS
    return SnagStudy(height, as_built, without, safe, reason)


def _snag_run(base: Inputs, limit: float | None) -> SnagRun:
    record = simulate(
        replace(
            base,
            phase=(replace(base.phase[0], until="top", current_limit=limit),),
            supply=replace(base.supply, current_limit=limit),
        )
    )
    worst = max(record.demands, key=lambda demand: demand.share, default=None)
    broken, snagged = record.first(Event.OVERLOAD), record.first(Event.SNAGGED) is not None
    name = "" if worst is None else record.machine.links[worst.link].label
    factor = float("inf") if worst is None or worst.share <= 0 else 1 / worst.share
    return SnagRun(
        limit,
        name if broken else "",
        1.0 if broken else factor,
        name,
        float(record["tension"].max()),
        snagged or (broken is not None and broken.height > 0),
        snagged,
    )


def _safe_run(base: Inputs, jammed: Jam) -> SnagRun | None:
    """Largest current limit, to within the halvings, under which nothing breaks and the load still
    comes to the snag."""
    if jammed.needed_current is None:
        return None
    low = ABOVE_NEED * jammed.needed_current
    best, limit, high = None, low, max(low, jammed.unlimited_current)
    for _ in range(HALVINGS + 1):
        tried = _snag_run(base, limit)
        if not tried.broke:
            low, best = limit, tried if tried.reached else best
        elif limit == low:
            return None
        else:
            high = limit
        limit = (low + high) / 2
    return best


# --- a series

SETTLED, LEAST_CHANGE, MOST_SIMULATED = 0.02, 1e-3, 60
"""Change of the temperatures at the start from one lift to the next, as a share of their rise since
the first one and at least, under which the others are like the last one; lifts that are simulated
at most. [-], [K], [-] Own choice."""


@dataclass(frozen=True)
class SeriesLift:
    """One lift of a series.

    Attributes
    ----------
    number : int
        From 1.
    end : End
    time : float
        From power on to its end. [s]
    winding_start, winding, case : float
        Of the hottest motors: at the start, the most on the way, and the case at the end. [°C]
    charge : float
        Drawn from the supply. [C]
    too_hot : bool
        Whether a winding passes its limit.
    """

    number: int
    end: End
    time: float
    winding_start: float
    winding: float
    case: float
    charge: float
    too_hot: bool


@dataclass(frozen=True)
class Series:
    """A series of lifts.

    Attributes
    ----------
    asked : int
    pause : float
        [s]
    lifts : tuple of SeriesLift
        Those simulated; the others are like the last one.
    done : int
        Lifts that reach the target or go as asked, with no winding too hot, at most `asked`.
    settled : bool
        Whether the temperatures have come to their lasting values.
    winding_limit : float
        [°C]
    charge_left : float or None
        None without a battery of known capacity. [C]
    life : ToothLife or None
        Of the tooth that breaks first, in lifts like the last one; None where no line is known.
    damage : tuple of (float, float, float) or None
        Share of its life that the lifts done take: low, best, high. [-]
    unknown : tuple of str
        Teeth of which no line of stress over cycles is known.
    """

    asked: int
    pause: float
    lifts: tuple[SeriesLift, ...]
    done: int
    settled: bool
    winding_limit: float
    charge_left: float | None
    life: ToothLife | None
    damage: tuple[float, ...] | None
    unknown: tuple[str, ...]

    @property
    def fails(self) -> bool:
        """Whether fewer lifts are done than were asked for."""
        return self.done < self.asked


AS_ASKED = (End.REACHED, End.DONE)
"""Ends after which the next lift follows."""


def repeat(inputs: Inputs, number: int, pause: float) -> Series:
    """A series of lifts by the scenario's programme, each from the same start.

    Parameters
    ----------
    inputs : Inputs
    number : int
        Lifts, at least 1.
    pause : float
        With the power off between the end of a run and the next one, at least 0. [s]

    Raises
    ------
    InputError, DomainError
        The scenario cannot be built, or there is no lift.

    Notes
    -----
    Each lift is a full simulation until the temperatures settle; between lifts windings and cases
    cool by the exact solution. A part that breaks or a winding too hot ends the series; teeth grow
    weaker by damage only in the sum, not in the simulation.
    """
    refuse_if(number < 1, "number", number, "at least 1")
    refuse_if(not pause >= 0, "pause", pause, "0 s or more")
    lifts: list[SeriesLift] = []
    records: list[Record] = []
    done, settled, left = 0, False, in_force(inputs.supply).capacity
    while done < number and not settled and len(lifts) < MOST_SIMULATED:
        record = simulate(inputs)
        records.append(record)
        lifts.append(_lift(record, len(lifts) + 1))
        if lifts[-1].end not in AS_ASKED or lifts[-1].too_hot:
            break
        done += 1
        warmed = _rested(inputs, record, pause)
        least = max(SETTLED * _change(records[0], warmed), LEAST_CHANGE)
        settled = _change(record, warmed) < least
        if left is not None:
            left = max(left - lifts[-1].charge, 0.0)
            warmed = replace(warmed, supply=replace(inputs.supply, capacity=max(left, 1e-6)))
        inputs = warmed
    more = number - done if done == len(lifts) else 0
    if left is not None and more:
        more = min(more, math.floor(left / lifts[-1].charge + 1e-9))
        left -= more * lifts[-1].charge
    lives, spent = tooth_lives(records[-1]), None
    first = min(
        (life for life in lives if life.lifts is not None),
        key=lambda life: life.lifts or 0.0,
        default=None,
    )
    if first is not None:
        own, last = damage(records)[first.label], damage(records[-1:])[first.label]
        spent = tuple(a + more * b for a, b in zip(own, last, strict=True))
    return Series(
        asked=number,
        pause=pause,
        lifts=tuple(lifts),
        done=done + more,
        settled=settled,
        winding_limit=min(group.winding_limit for group in records[-1].machine.groups),
        charge_left=left,
        life=first,
        damage=spent,
        unknown=tuple(life.label for life in lives if life.lifts is None),
    )


def _lift(record: Record, number: int) -> SeriesLift:
    windings = [record[f"motor_{g.number}_winding"] for g in record.machine.groups]
    found = assess(record, actions=False, ranges=False)
    winding = found.check(CheckKey.WINDING)
    return SeriesLift(
        number,
        found.target.end,
        found.target.time,
        max(float(winding[0]) for winding in windings),
        max(float(winding.max()) for winding in windings),
        max(read_history(record).temperatures(math.inf)[1]),
        float(record["charge"][-1]),
        winding is not None and winding.status is Status.FAILS,
    )


def _rested(inputs: Inputs, record: Record, pause: float) -> Inputs:
    """Scenario with the temperatures that a pause after a run leaves."""
    motors, (windings, cases) = list(inputs.motors), read_history(record).temperatures(math.inf)
    for g, winding, case in zip(record.machine.groups, windings, cases, strict=True):
        start = heat.step_exact(g.heat, 0.0, winding, case, record.machine.ambient, pause)
        motors[g.number - 1] = replace(
            motors[g.number - 1], winding_start=float(start[0]), case_start=float(start[1])
        )
    return replace(inputs, motors=tuple(motors))


def _change(record: Record, warmed: Inputs) -> float:
    """How far the next start is from that of a run. [K]"""
    return max(
        abs(end - start)
        for g in record.machine.groups
        for end, start in (
            (warmed.motors[g.number - 1].winding_start, g.winding_start),
            (warmed.motors[g.number - 1].case_start, g.case_start),
        )
        if end is not None
    )
