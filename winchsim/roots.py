"""Roots of many functions of one variable at once."""

from collections.abc import Callable
from typing import Any

import numpy as np

MOST_STEPS = 60
"""Steps of a search; functions that are straight between a handful of kinks take a few. [-]"""

NARROW = 1e-13
"""Width of a bracket over its larger end at which a search ends. [-]"""


def root_between(
    function: Callable[[Any], Any],
    above: Any,
    below: Any,
    *,
    close: Any,
    guess: Any = None,
    active: Any = True,
) -> np.ndarray:
    """Roots of a function between places where it is positive and places where it is not.

    Parameters
    ----------
    function : callable
        Of an array of places, one for each element.
    above, below : (ndarray, ndarray)
        Places where the function is positive, and where it is not, each with its values there.
    close : ndarray
        Value of the function that counts as zero.
    guess : ndarray, optional
        First places looked at; left out, where the chord crosses zero.
    active : ndarray of bool, optional
        Elements that are sought; the others keep their guess.

    Notes
    -----
    Chords between two places around the root, exact as soon as both lie on one straight piece. The
    end that stays twice loses half its weight, lest the chord creep along a kink ("Illinois
    algorithm": M. Dowell and P. Jarratt, BIT 11, 1971, p. 168, from memory).
    """
    (first, at_first), (second, at_second) = above, below
    place = (
        guess
        if guess is not None
        else first + (second - first) * (at_first / (at_first - at_second))
    )
    last = np.zeros(np.shape(place))
    for _ in range(MOST_STEPS):
        value = function(place)
        wide = np.abs(second - first) > NARROW * np.maximum(np.abs(first), np.abs(second))
        sought = (np.abs(value) > close) & active & wide
        if not np.any(sought):
            break
        positive = value > 0
        at_first = np.where(positive, value, np.where(last < 0, at_first / 2, at_first))
        at_second = np.where(positive, np.where(last > 0, at_second / 2, at_second), value)
        first, second = np.where(positive, place, first), np.where(positive, second, place)
        last = np.where(positive, 1.0, -1.0)
        place = np.where(
            sought, first + (second - first) * (at_first / (at_first - at_second)), place
        )
    return place
