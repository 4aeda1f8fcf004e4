"""What of a record is drawn: its samples segment by segment, in a unit that suits their size, over
a stretch of time."""

import math
from typing import TypeVar

import numpy as np

from winchsim.frozen import dataclass
from winchsim.quantity_text import in_unit, number
from winchsim.report.figures.look import Look
from winchsim.simulation import Record

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
    if span >= 1:
        return Window(start, end, 0.0, "min" if span >= 1200 else "s")
    return Window(start, end, round(around, 4) if start > 20 * span else 0.0, "ms")


def whole(record: Record) -> Window:
    """The whole run."""
    return window(float(record.time[0]), float(record.time[-1]))


BY_SIZE = {
    "height": ("mm", 0.1, "m"),
    "speed": ("mm/s", 1.0, "m/s"),
    "current": ("A", math.inf, "A"),
    "tension": ("N", 1e4, "kN"),
    "torque": ("mN·m", 1.0, "N·m"),
}
"""Units of each quantity: the smaller one, the SI value from which the larger one takes over, and
that one."""


def suits(name: str, values: np.ndarray | float, look: Look) -> str:
    """Unit in which a quantity is drawn, from its size.

    Parameters
    ----------
    name : str
        One of `BY_SIZE`.
    values : array_like
        SI.
    look : Look
        Says whether a US unit is used where there is one.
    """
    small, limit, large = BY_SIZE[name]
    size = np.abs(np.asarray(values, dtype=float))
    most = np.max(size, initial=0.0, where=np.isfinite(size))
    return look.unit(large if most >= limit else small)


def broken(record: Record, *channels: np.ndarray) -> list[np.ndarray]:
    """Time and channels of a record, with a gap (NaN) between segments so that nothing is drawn
    across.

    Parameters
    ----------
    record : Record
    *channels : ndarray, shape (k,)
        One value for each sample of the record.

    Returns
    -------
    list of ndarray
        Time first, equally long, in SI.
    """
    cuts = record.segment_starts[1:]
    return [np.insert(np.asarray(each, float), cuts, np.nan) for each in (record.time, *channels)]
