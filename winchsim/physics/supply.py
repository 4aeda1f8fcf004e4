"""The supply and the motors in parallel on it: terminal voltage and currents of every regime, in
closed form.

Sign convention: a positive open-circuit voltage raises; current is positive when it drives in that
sense, so a positive total times a positive voltage is power out of the source. Reversed polarity
(lowering) is the same law mirrored: the limit acts on the current in the sense of the voltage, and
"back" means against it. A ramp from zero must say which way it goes: pass ``-0.0``, not ``0.0``, at
the start of a reversed one (``-V * t / ramp`` does so by itself).

The motors are linear between their kinks (brush drop makes a band without current around the back
e.m.f.), so the terminal voltage is the root of one monotone piecewise-linear law and is found by
looking at its kinks: no iteration.

Left out: a current-limited supply is taken to hold its current whatever voltage that needs; the
reverse diode of a real one would clamp the terminals near zero when the load drives the motors
backwards faster than the limit can hold.

Derivation. Without brush drops the terminal voltage is ``(V + Rs H)/(1 + Rs G)`` with
``G = sum n/r`` and ``H = sum n e/r``, or ``(I + H)/G`` where the sum of currents is I. With drops
the total is piecewise linear in the voltage with kinks at ``e +- drop``; the highest kink below the
root gives the piece, the piece gives the voltage. A supply that takes nothing back has no unique
voltage in its dead band: the edge at which giving would begin is taken, so that its guard is zero
exactly there.
"""

import math
from collections.abc import Callable, Sequence
from enum import Enum
from typing import Any

import numpy as np

from winchsim.elementwise import Floats, dead_band, larger, pick, positive, smaller
from winchsim.frozen import dataclass

Values = Sequence[Any]
"""One entry a group, each a float or an array."""

NOTHING_BACK = 1e-9
"""Current into a source that takes nothing back, above which it counts as flowing [A].

Far below any real current; needed because with a brush drop the total is exactly zero over a whole
range of speeds, and a guard must not stand at zero there."""


class LimitSide(Enum):
    """Where a controller limits the current."""

    MOTOR = "motor"
    BATTERY = "battery"


class Regime(Enum):
    """What the supply is doing; the value is the phrase shown to the user."""

    VOLTAGE = "holding voltage"
    CURRENT = "holding current"
    NO_RETURN = "taking nothing back"
    EMPTY = "battery empty"
    TRIPPED = "switched off by overcurrent"
    OPEN = "lead open, motors joined"
    EACH_OPEN = "every motor open"
    SHORTED = "terminals joined"


_VOLTAGE, _CURRENT, _NO_RETURN = Regime.VOLTAGE, Regime.CURRENT, Regime.NO_RETURN
_EACH_OPEN, _SHORTED = Regime.EACH_OPEN, Regime.SHORTED


@dataclass(frozen=True)
class Source:
    """A supply with its wiring.

    Parameters
    ----------
    resistance : float
        Internal plus wiring resistance, >= 0. [ohm]
    current_limit : float
        Current at which it limits itself unless a phase says otherwise, > 0. [A]
    takes_back : bool
        Whether current may flow into it: a battery yes, a bench supply no.
    capacity : float
        Charge that it gives before it is empty, > 0. [C]
    duty : float
        Share of the time for which a controller connects the motors at most, 0 < duty <= 1. [-]
    limit_side : LimitSide or None
        Where a controller limits the current by lowering its duty; None where the source itself
        limits it.
    fold_to : float or None
        Current to which a limiting source itself, before a controller, folds back when its
        terminals are joined, > 0; None: it holds its limit. [A]
    trip_delay : float
        Time at the limit after which the source switches off, >= 0; infinite: it stays on. [s]
    """

    resistance: float
    current_limit: float = math.inf
    takes_back: bool = False
    capacity: float = math.inf
    duty: float = 1.0
    limit_side: LimitSide | None = None
    fold_to: float | None = None
    trip_delay: float = math.inf

    @property
    def plain(self) -> bool:
        """Whether the motors are on the source itself, which holds its limit."""
        full = self.duty if self.duty.__class__ is float else np.min(self.duty)
        return full == 1.0 and self.limit_side is None and self.fold_to is None


def balance(
    regime: Regime,
    open_voltage: Floats,
    source: Source,
    groups_n: Values,
    groups_r: Values,
    groups_e: Values,
    groups_drop: Values,
    current_limit: Floats,
) -> tuple[Any, tuple[Any, ...], Any]:
    """Terminal voltage, current of one motor of each group, and current of the source.

    Parameters
    ----------
    regime : Regime
        What the supply is doing.
    open_voltage : float or ndarray
        Open-circuit voltage, negative with reversed polarity. [V]
    source : Source
        Only its resistance is used here.
    groups_n : sequence
        Live motors of each group, > 0. [-]
    groups_r : sequence of float or ndarray
        Resistance of one motor of each group at its present temperature, > 0. [ohm]
    groups_e : sequence of float or ndarray
        Back e.m.f. of one motor of each group. [V]
    groups_drop : sequence of float or ndarray
        Brush drop of one motor of each group, both brushes together, >= 0. [V]
    current_limit : float or ndarray
        Limit now in force (`source.current_limit` unless a phase has its own). [A]

    Returns
    -------
    voltage : float or ndarray
        At the motors' terminals; with every motor open, what the joined motors would show. [V]
    currents : tuple of float or ndarray
        Of one motor of each group. [A]
    total : float or ndarray
        What the source gives. [A]

    Notes
    -----
    With a brush drop and no net current the voltage is undetermined within the dead band. Taking
    nothing back, the edge is taken at which the source would begin to give; with the lead open, the
    middle.

    A controller is taken at its mean, the motors' current as continuous: at a duty D they see D U
    behind D² R, and the source gives D times their current.

    References
    ----------
    .. [1] Own derivation (Kirchhoff's laws on parallel branches), head of this module.

    Examples
    --------
    >>> balance(Regime.VOLTAGE, 6.0, Source(0.5), (2,), (4.0,), (2.5,), (0.0,), math.inf)
    (5.3, (0.7,), 1.4)
    """
    groups = (groups_n, groups_r, groups_e, groups_drop)
    if source.plain:
        return _direct(regime, open_voltage, source.resistance, groups, current_limit)
    return _controlled(regime, open_voltage, source, groups, current_limit)


_Groups = tuple[Values, Values, Values, Values]
"""Live motors, resistance, back e.m.f. and brush drop of each group."""

_Rows = list[tuple[Any, Any, Any]]
"""Of each group: live motors over resistance, back e.m.f., brush drop."""

_Balance = tuple[Any, tuple[Any, ...], Any]


def _direct(
    regime: Regime, open_voltage: Any, resistance: Any, groups: _Groups, limit: Any
) -> _Balance:
    """`balance` with the motors on a source of this resistance."""
    total, live = open_voltage * 0.0, len(groups[0])
    if live == 1 and regime is not _SHORTED:  # spelt out: it stands in the innermost loop
        (n,), (r,), (e,), (drop,) = groups
        if regime is _VOLTAGE:
            current = dead_band(open_voltage - e, drop) / (r + n * resistance)
            total = n * current
            return open_voltage - resistance * total, (current,), total
        if regime is _CURRENT:
            total = _towards(open_voltage, limit)
            current = total / n
            return e + r * current + _towards(open_voltage, drop), (current,), total
        idle = e * 0.0
        voltage = e - _towards(open_voltage, drop) if regime is _NO_RETURN else e
        return voltage, (idle,), total + idle
    voltage = total
    if regime is _VOLTAGE:
        voltage = _highest_root(_rows(*groups), 1.0, open_voltage, resistance)
    elif regime is _CURRENT and live:
        total = _towards(open_voltage, limit)
        voltage = _highest_root(_rows(*groups), 0.0, total)
    elif regime is not _SHORTED and live:
        towards = _towards(open_voltage, 1.0)
        voltage = -towards * _highest_root(_rows(*groups, -towards), 0.0, total)
        bands = [drop if drop.__class__ is float else np.any(drop) for drop in groups[3]]
        if regime is not _NO_RETURN and all(bands):
            high = towards * _highest_root(_rows(*groups, towards), 0.0, total)
            voltage = 0.5 * (voltage + high)
        total = total + voltage * 0.0
        if regime is _EACH_OPEN:
            return voltage, tuple([e * 0.0 for e in groups[2]]), total
    currents = _currents(voltage, groups)
    if regime is _VOLTAGE:
        total = total + sum([n * i for n, i in zip(groups[0], currents, strict=True)])
    return voltage, currents, total


def _controlled(
    regime: Regime, open_voltage: Any, source: Source, groups: _Groups, limit: Any
) -> _Balance:
    """`balance` behind a controller, or on a source that folds back."""
    duty, side = source.duty, source.limit_side
    behind = duty * duty * source.resistance
    if regime is not _CURRENT:
        voltage, currents, total = _direct(regime, duty * open_voltage, behind, groups, limit)
        return voltage, currents, duty * total
    given: Any = _towards(open_voltage, limit)
    if side is LimitSide.MOTOR:
        voltage, currents, _ = _direct(regime, open_voltage, behind, groups, limit)
        return voltage, currents, _drawn(open_voltage, source.resistance, voltage * given)
    if side is None and source.fold_to is None:
        voltage, currents, _ = _direct(regime, open_voltage, behind, groups, limit / duty)
        return voltage, currents, given
    towards: Any = _towards(open_voltage, 1.0)
    rows = _rows(*groups, towards)
    if side is LimitSide.BATTERY:
        power = (open_voltage - source.resistance * given) * given
        voltage = towards * _at_power(rows, power)
        return voltage, _currents(voltage, groups), given
    # The source on its line from fold_to, terminals joined, up to the limit; a controller shows the
    # motors D of its voltage and 1/D of its current. Below zero, and where that line is steeper
    # than the motors' own (the start of a ramp), it stays at its floor until it can hold its
    # voltage.
    floor = open_voltage * 0.0 + smaller(source.fold_to, limit)
    slope: Any = (limit - floor) / larger(abs(open_voltage) - source.resistance * limit, 1e-300)
    size = _highest_root(rows, 0.0, floor / duty)
    flat = (size > 0.0) & (slope < duty * duty * sum([w for w, _, _ in rows]))
    slope = pick(flat, slope, 0.0)
    size = _highest_root(rows, -slope / (duty * duty), floor / duty)
    voltage = towards * size
    return voltage, _currents(voltage, groups), towards * (floor + slope * size / duty)


def _currents(voltage: Any, groups: _Groups) -> tuple[Any, ...]:
    return tuple([dead_band(voltage - e, drop) / r for _, r, e, drop in zip(*groups, strict=True)])


def _drawn(open_voltage: Any, resistance: float, power: Any) -> Any:
    """Current of a source behind which a lossless controller takes a power; none for a power below
    zero. [A]"""
    towards, power = _towards(open_voltage, 1.0), positive(power)
    at_open = abs(open_voltage)
    root = positive(at_open * at_open - 4.0 * resistance * power) ** 0.5
    return towards * 2.0 * power / larger(at_open + root, 1e-300)


def _at_power(rows: _Rows, power: Any) -> Any:
    """Voltage at which all motors together take a power, driven in the sense of the rows. [V]

    Above the kink where the power begins to fit, their current is a straight line: a quadratic
    equation in the voltage. Of a low voltage a resistance may leave less than the motors give back
    at most, where the most is taken.
    """
    slope, offset = _line(rows, lambda kink: kink * _taken(rows, kink), power, power * 0.0)
    root = positive(offset * offset + 4.0 * slope * power) ** 0.5
    return (offset + root) / larger(2.0 * slope, 1e-300)


def limited_current(source: Source, total: Any) -> Any:
    """The current that the limit looks at, of a source that holds its voltage. [A]

    Parameters
    ----------
    source : Source
    total : float or ndarray
        What the source gives. [A]
    """
    return total / source.duty if source.limit_side is LimitSide.MOTOR else total


def regime_margins(
    regime: Regime,
    voltage: Floats,
    total: Floats,
    open_voltage: Floats,
    source: Source,
    current_limit: float,
) -> tuple[tuple[Regime, Any], ...]:
    """Guards of a regime: which one takes over, and the margin that crosses zero upward when it
    does.

    Parameters
    ----------
    regime : Regime
        Present regime.
    voltage, total : float or ndarray
        Terminal voltage and current of the source, from `balance`. [V], [A]
    open_voltage, source, current_limit
        As for `balance`.

    Returns
    -------
    tuple of (Regime, margin)
        Empty for regimes that only a phase or the state of charge ends. The same entries in the
        same order for the same regime, source and limit. An unlimited current has no entry.
    """
    towards = _towards(open_voltage, 1.0)
    if regime is _VOLTAGE:
        forward = towards * limited_current(source, total)
        limited = ((_CURRENT, forward - current_limit),) if current_limit < math.inf else ()
        return limited if source.takes_back else (*limited, (_NO_RETURN, -forward - NOTHING_BACK))
    if regime is _CURRENT:
        kept = towards * (open_voltage - source.resistance * total)
        margin = towards * voltage / source.duty - kept
        # A controller's duty is at its most; what the resistance leaves of a low voltage may be
        # below zero.
        beyond = (kept < 0.0) & (source.limit_side is not None)
        return ((_VOLTAGE, pick(beyond, -margin, margin)),)
    if regime is _NO_RETURN:
        return ((_VOLTAGE, towards * (source.duty * open_voltage - voltage)),)
    return ()


def first_regime(
    open_voltage: float,
    source: Source,
    groups_n: Values,
    groups_r: Values,
    groups_e: Values,
    groups_drop: Values,
    current_limit: float,
) -> Regime:
    """Regime of a powered supply that agrees with the present speeds.

    Parameters
    ----------
    open_voltage, source, groups_n, groups_r, groups_e, groups_drop, current_limit
        As for `balance`, floats only.

    Returns
    -------
    Regime
        VOLTAGE, CURRENT or NO_RETURN: exactly one of them is consistent, as the total grows with
        the voltage.
    """
    groups = (groups_n, groups_r, groups_e, groups_drop)
    voltage, _, total = balance(_VOLTAGE, open_voltage, source, *groups, current_limit)
    margins = regime_margins(_VOLTAGE, voltage, total, open_voltage, source, current_limit)
    return next((regime for regime, margin in margins if margin > 0.0), _VOLTAGE)


def agreeing_balance(
    open_voltage: Floats,
    source: Source,
    groups_n: Values,
    groups_r: Values,
    groups_e: Values,
    groups_drop: Values,
    current_limit: Floats,
) -> tuple[Any, tuple[Any, ...], Any]:
    """`balance` of a powered supply in the regime that agrees with itself, of arrays each element
    in its own.

    Parameters
    ----------
    open_voltage, source, groups_n, groups_r, groups_e, groups_drop, current_limit
        As for `balance`.
    """
    state = (open_voltage, source, groups_n, groups_r, groups_e, groups_drop)
    found = balance(_VOLTAGE, *state, current_limit)
    forward = _towards(open_voltage, 1.0) * limited_current(source, found[2])
    over, back = forward > current_limit, forward < -NOTHING_BACK
    if np.any(over):
        limited = balance(
            _CURRENT, *state, np.where(np.isfinite(current_limit), current_limit, 0.0)
        )
        found = _chosen(over, limited, found)
    if not source.takes_back and np.any(back):
        found = _chosen(back, balance(_NO_RETURN, *state, current_limit), found)
    return found


def _chosen(where: Any, first: Any, second: Any) -> tuple[Any, tuple[Any, ...], Any]:
    currents = tuple(pick(where, a, b) for a, b in zip(first[1], second[1], strict=True))
    return pick(where, first[0], second[0]), currents, pick(where, first[2], second[2])


ROUNDING = 1e-15
"""Share of the voltages that differences of them may be off by. [-]"""


def _rows(ns: Values, rs: Values, es: Values, drops: Values, towards: Any = 1.0) -> _Rows:
    """Rows of all groups, voltages counted in the sense `towards`."""
    return [(n / r, towards * e, drop) for n, r, e, drop in zip(ns, rs, es, drops, strict=True)]


def _taken(rows: _Rows, voltage: Any) -> Any:
    """Current of all motors at a voltage. [A]"""
    return sum([w * dead_band(voltage - e, drop) for w, e, drop in rows])


def _line(rows: _Rows, law: Callable[[Any], Any], target: Any, least: Any) -> tuple[Any, Any]:
    """Slope and offset of the motors' current right of the highest kink above `least` at which a
    growing law is not over its target: from there to the next kink it is a straight line.

    A motor without brush drop has no kink."""
    bent = [(e, drop) for _, e, drop in rows if drop.__class__ is not float or drop]
    if not bent:
        return sum([w for w, _, _ in rows]), sum([w * e for w, e, _ in rows])
    best, slope, offset = least, 0.0, 0.0
    for kink in [e + side * drop for e, drop in bent for side in (-1.0, 1.0)]:
        best = pick((kink > best) & (law(kink) <= target), kink, best)
    for w, e, drop in rows:
        above, below = w * (e + drop <= best), w * (e - drop > best)
        slope = slope + above + below
        offset = offset + above * (e + drop) + below * (e - drop)
    return slope, offset


def _highest_root(rows: _Rows, own: Any, target: Any, resistance: Any = 1.0) -> Any:
    """Highest u with ``own u + resistance I(u) = target``, I the current of all motors."""

    # At its own kink a motor's current is zero but for rounding.
    rounding = ROUNDING * sum([w * (abs(e) + drop) for w, e, drop in rows])

    def law(u: Any) -> Any:
        return own * u + resistance * (_taken(rows, u) - rounding)

    slope, offset = _line(rows, law, target, -math.inf)
    return (target + resistance * offset) / (own + resistance * slope)


def _towards(open_voltage: Any, size: Any) -> Any:
    """`size` with the sign of the voltage, that of a signed zero included."""
    if open_voltage.__class__ is float and size.__class__ is float:
        return math.copysign(size, open_voltage)
    return np.copysign(size, open_voltage)
