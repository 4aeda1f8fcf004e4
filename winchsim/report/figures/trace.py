"""What of a record is drawn: its samples segment by segment, in a unit that suits their size, over
a stretch of time."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TypeVar

import numpy as np

from winchsim.frozen import dataclass
from winchsim.quantity_text import PRINTED_UNITS, in_unit, number
from winchsim.simulation import Record

MOST_SAMPLES = 6_000
"""More samples than this in one curve are thinned to the ends, the least and the most of each of
`COLUMNS` columns."""

COLUMNS = 800

Time = TypeVar("Time", float, np.ndarray)
"""One instant, or an array of them."""


@dataclass(frozen=True)
class Window:
    """A stretch of time as an axis shows it.

    Attributes
    ----------
    start, end : float
        [s]
    origin : float
        Time that the axis counts from. [s]
    unit : str
        ``ms``, ``s`` or ``min``.
    """

    start: float
    end: float
    origin: float = 0.0
    unit: str = "s"

    @property
    def span(self) -> float:
        """[s]"""
        return self.end - self.start

    @property
    def label(self) -> str:
        """Text of the axis."""
        after = f" after {number(self.origin, 5)} s" if self.origin else ""
        return f"Time{after} ({self.unit})"

    def shown(self, time: Time) -> Time:
        """Time in the axis's unit, float or array."""
        found: Time = in_unit(time - self.origin, self.unit)
        return found


def window(start: float, end: float, around: float = 0.0) -> Window:
    """Stretch of time in a unit that suits it.

    Parameters
    ----------
    start, end : float
        [s]
    around : float
        Instant that a short stretch is counted from when it begins late. [s]
    """
    span = end - start
    if span <= 0:
        return window(start - 0.5e-3 if start > 0 else 0.0, start + 0.5e-3, around)
    if span >= 1200:
        return Window(start, end, 0.0, "min")
    if span >= 1:
        return Window(start, end)
    late = start > 20 * span
    return Window(start, end, round(around, 4) if late else 0.0, "ms")


def whole(record: Record) -> Window:
    """The whole run."""
    return window(float(record.time[0]), float(record.time[-1]))


def suits(name: str, values: np.ndarray | float, us: bool = False) -> str:
    """Unit in which a quantity is drawn, from its size.

    Parameters
    ----------
    name : str
        ``height``, ``speed``, ``tension``, ``torque``, ``rotation``, ``current``, ``voltage``,
        ``power``, ``temperature`` or ``energy``.
    values : array_like
        SI.
    us : bool
        Whether a US unit is used where there is one.
    """
    finite = np.abs(np.asarray(values, dtype=float))
    largest = float(np.max(finite[np.isfinite(finite)], initial=0.0))
    fixed = {"rotation": "rpm", "current": "A", "voltage": "V", "power": "W"}
    sized = {
        "height": ("mm", 0.1, "m"),
        "speed": ("mm/s", 1.0, "m/s"),
        "tension": ("N", 1e4, "kN"),
        "torque": ("mN·m", 1.0, "N·m"),
    }
    if name in sized:
        small, limit, large = sized[name]
        unit = large if largest >= limit else small
    else:
        unit = fixed.get(name, "J" if name == "energy" else "°C")
    return PRINTED_UNITS[unit].us or unit if us else unit


def broken(
    record: Record, values: np.ndarray, shown: Window, keep: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Times as the axis shows them and SI values, with a gap (NaN) between segments so that nothing
    is drawn across.

    Parameters
    ----------
    record : Record
    values : ndarray, shape (k,)
        One for each sample of the record.
    shown : Window
    keep : ndarray of bool, shape (k,), optional
        Samples that are drawn; the others are left as a gap.

    Returns
    -------
    (ndarray, ndarray)
        Equally long.
    """
    index, cuts = drawn_samples(record, shown, (values,), keep)
    return (
        np.insert(np.asarray(shown.shown(record.time[index]), dtype=float), cuts, np.nan),
        np.insert(np.asarray(values[index], dtype=float), cuts, np.nan),
    )


def drawn_samples(
    record: Record, shown: Window, curves: Sequence[np.ndarray], keep: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Samples of a record that are drawn in a stretch of time, the next ones on either side
    included.

    Parameters
    ----------
    record : Record
    shown : Window
    curves : sequence of ndarray, shape (k,)
        What is drawn of them; where there are too many samples, the least and greatest of each are
        kept.
    keep : ndarray of bool, shape (k,), optional
        As for `broken`.

    Returns
    -------
    (ndarray of int, ndarray of int)
        Places in the record, ascending, and places in that list before which a gap belongs.
    """
    time = record.time
    inside = (time >= shown.start) & (time <= shown.end)
    moving = np.diff(time) > 0
    first = inside.copy()
    inside[:-1] |= first[1:] & moving
    inside[1:] |= first[:-1] & moving
    if keep is not None:
        inside &= keep
    index = np.flatnonzero(inside)
    segment = np.searchsorted(record.segment_starts, index, side="right")
    if len(index) > MOST_SAMPLES:
        x = shown.shown(time[index])
        parts = [_thinned(x, values[index], segment) for values in curves]
        kept = np.unique(np.concatenate(parts))
        index, segment = index[kept], segment[kept]
    gap = np.diff(segment) > 0
    if keep is not None:
        whole_gap = np.cumsum(~keep)
        gap = gap | (np.diff(whole_gap[index]) > 0)
    return index, np.flatnonzero(gap) + 1


def _thinned(x: np.ndarray, y: np.ndarray, segment: np.ndarray) -> np.ndarray:
    """Places of the first, last, least and greatest sample of each column of each segment,
    ascending."""
    wide = float(x[-1] - x[0]) or 1.0
    column = np.minimum((x - x[0]) / wide * COLUMNS, COLUMNS - 1).astype(np.int64)
    group = segment.astype(np.int64) * COLUMNS + column
    change = np.flatnonzero(np.diff(group)) + 1
    first = np.concatenate([[0], change])
    last = np.concatenate([change - 1, [len(x) - 1]])
    order = np.lexsort(
        (y, group)
    )  # within each group by value: its ends are the least and the greatest
    return np.unique(np.concatenate([first, last, order[first], order[last]]))
