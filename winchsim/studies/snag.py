"""A snag at half height while the motors keep pulling: which part breaks, and the current limit
that prevents it.

Every answer is a full simulation of the lift with a snag on its way: the rotors' momentum is in it.
"""

from winchsim.assessment.jam import ABOVE_NEED, jam
from winchsim.assessment.kinds import Jam, NoLimit
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs
from winchsim.model import Event, build, first_raise
from winchsim.simulation import simulate

STEPS = 6
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
    as_built = _run(base, own)
    without = as_built if own is None else _run(base, None)
    if not as_built.reached:
        return None
    jammed, safe, reason = jam(build(base)), None, NoLimit.NOT_NEEDED
    if jammed and (as_built.broke or without.broke):
        safe = _safe(base, jammed)
    if jammed and as_built.broke and safe is None:
        reason = jammed.no_limit or NoLimit.ROTORS
    return SnagStudy(height, as_built, without, safe, reason)


def _run(base: Inputs, limit: float | None) -> SnagRun:
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


def _safe(base: Inputs, jammed: Jam) -> SnagRun | None:
    """Largest current limit, to within the halvings, under which nothing breaks and the load still
    comes to the snag."""
    if jammed.needed_current is None:
        return None
    low = ABOVE_NEED * jammed.needed_current
    best, limit, high = None, low, max(low, jammed.unlimited_current)
    for _ in range(STEPS + 1):
        tried = _run(base, limit)
        if not tried.broke:
            low, best = limit, tried if tried.reached else best
        elif limit == low:
            return None
        else:
            high = limit
        limit = (low + high) / 2
    return best
