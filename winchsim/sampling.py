"""Which instants of a run are kept as samples, so that straight lines between them tell the run and
no peak is lost.

The record keeps the integrator's own steps, long ones divided. Each is looked into at three more
instants, and those are kept that lie off the straight line by over 0.1 % of a quantity's range, or
are the most or least of anything. Both sides of every switch are samples; nothing is interpolated
across.
"""

import numpy as np

LEAST_SAMPLES = 250
"""A run is looked at in at least about this many equal parts, also where the integrator took long
steps. [-]"""

INSIDE = 3
"""Instants looked at inside each step. [-]"""

MOST_LOOKED_INTO = 20_000
"""Runs of more steps than this are not looked into: their steps are close enough, and memory is not
without end. [-]"""

STRAIGHT = 1e-3
"""An instant inside a step is kept where a quantity is off the straight line by more than this
share of its range. [-]"""


def looked_at(
    steps: np.ndarray, longest: float, inside: int = INSIDE
) -> tuple[np.ndarray, np.ndarray]:
    """Instants of one stretch that are looked at, and which of them are kept whatever they show.

    Parameters
    ----------
    steps : ndarray, shape (m,)
        Ends of the accepted steps, strictly ascending. [s]
    longest : float
        Longer steps are divided into equal parts. [s]
    inside : int
        How many more instants are looked at inside each part. [-]

    Returns
    -------
    times : ndarray, shape (k,)
        Strictly ascending, the first and the last step end among them. [s]
    kept : ndarray of bool, shape (k,)
        True for the step ends and the ends of the parts.
    """
    finer = np.maximum(np.ceil(np.diff(steps) / longest), 1).astype(int) * (inside + 1)
    begin = np.repeat(np.arange(finer.size), finer)
    place = np.arange(begin.size) - (np.cumsum(finer) - finer)[begin]
    times = np.append(steps[begin] + place / finer[begin] * np.diff(steps)[begin], steps[-1])
    kept = np.append(place % (inside + 1) == 0, True)
    new = np.append(
        np.diff(times) > 0, True
    )  # a step of a few units in the last place has no room inside
    return times[new], kept[new]


def worth_keeping(time: np.ndarray, kept: np.ndarray, rows: np.ndarray) -> np.ndarray:
    """Which samples a record needs: those kept anyway, those off the straight line, and every row's
    largest and smallest.

    Parameters
    ----------
    time : ndarray, shape (k,)
        Of all stretches behind each other; the ends of each stretch are kept. [s]
    kept : ndarray of bool, shape (k,)
        Samples that are kept whatever they show.
    rows : ndarray, shape (r, k)
        The quantities.

    Returns
    -------
    ndarray of bool, shape (k,)
    """
    place = np.arange(time.size)
    before = np.maximum.accumulate(np.where(kept, place, 0))
    behind = np.minimum.accumulate(np.where(kept, place, time.size - 1)[::-1])[::-1]
    span = time[behind] - time[before]
    part = np.divide(time - time[before], span, out=np.zeros_like(span), where=span > 0)
    inside = np.flatnonzero(~kept)
    before, behind, part = before[inside], behind[inside], part[inside]
    wanted, bent = kept.copy(), np.zeros(inside.size, dtype=bool)
    for row in rows:  # one by one: all at once they would not fit the processor's cache
        first = row[before]
        line = first + part * (row[behind] - first)
        bent |= np.abs(row[inside] - line) > STRAIGHT * np.ptp(row)
        wanted[row.argmin()] = wanted[row.argmax()] = True
    wanted[inside[bent]] = True
    return wanted
