"""A snag at half height while the motors keep pulling: which part breaks, and the current limit
that prevents it.

Every answer is a full simulation of the lift with a snag on its way: the rotors' momentum is in it.
"""

from __future__ import annotations

from winchsim.assessment.kinds import NoLimit
from winchsim.assessment.margins import needed_current
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs
from winchsim.model import Event, Machine, build
from winchsim.model.estimate import raising_phase
from winchsim.model.trial import first_raise
from winchsim.simulation import Record, simulate

STEPS = 6
"""Halvings of the current limit: it is found to a sixty-fourth of its range. [-]"""

MARGIN_ABOVE_NEED = 1.02
"""Least current limit that is tried, over the current that raises the load at all. [-]"""


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
    own = (
        base.phase[0].current_limit
        if base.phase[0].current_limit is not None
        else inputs.supply.current_limit
    )
    as_built = _run(base, own)
    without = as_built if own is None else _run(base, None)
    if not as_built.reached:
        return None
    safe = _safe(base) if as_built.broke or without.broke else None
    saved = not as_built.broke or safe is not None
    return SnagStudy(
        height, as_built, without, safe, NoLimit.NOT_NEEDED if saved else _no_limit(base, own)
    )


def _no_limit(base: Inputs, own: float | None) -> NoLimit:
    """Why no current limit prevents a break, from the lift without a snag under the least limit
    that raises the load."""
    machine = build(base)
    need = needed_current(machine, at_rest=machine.start_travel > 0)
    free = replace(base, load=replace(base.load, snag_height=None))
    alone = _run(free, own if need is None else MARGIN_ABOVE_NEED * need)
    if alone.broke:
        return NoLimit.RAISING_BREAKS
    return NoLimit.NOT_RAISED if need is None else NoLimit.ROTORS


def _run(base: Inputs, limit: float | None) -> SnagRun:
    phase = replace(base.phase[0], until="top", current_limit=limit)
    record = simulate(
        replace(base, phase=(phase,), supply=replace(base.supply, current_limit=limit))
    )
    worst = max(record.demands, key=lambda demand: demand.share, default=None)
    broken = record.first(Event.OVERLOAD)
    name = "" if worst is None else record.machine.links[worst.link].label
    factor = float("inf") if worst is None or worst.share <= 0 else 1 / worst.share
    return SnagRun(
        limit,
        name if broken else "",
        1.0 if broken else factor,
        name,
        float(record["tension"].max()),
        _reached(record),
        record.first(Event.SNAGGED) is not None,
    )


def _reached(record: Record) -> bool:
    broken = record.first(Event.OVERLOAD)
    return record.first(Event.SNAGGED) is not None or (broken is not None and broken.height > 0)


def _safe(base: Inputs) -> SnagRun | None:
    """Largest current limit, to within the halvings, under which nothing breaks and the load still
    comes to the snag."""
    machine = build(base)
    need = needed_current(machine, at_rest=machine.start_travel > 0)
    if need is None:
        return None
    low, high = MARGIN_ABOVE_NEED * need, _stalled_current(machine)
    first = _run(base, low)
    if first.broke or high <= low:
        return None
    best = first if first.reached else None
    for _ in range(STEPS):
        middle = (low + high) / 2
        tried = _run(base, middle)
        if tried.broke:
            high = middle
        else:
            low, best = middle, tried if tried.reached else best
    return best


def _stalled_current(machine: Machine) -> float:
    """Current that all motors would draw standing still, at the voltage that raises and without a
    limit. [A]"""
    voltage = raising_phase(machine).voltage
    return sum(
        g.live * max(voltage - g.motor.brush_drop, 0.0) / g.motor.resistance for g in machine.groups
    )
