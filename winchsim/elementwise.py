"""Choices that are made for one float at once and for an array element by element: one formula
serves both."""

from collections.abc import Callable
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = float | NDArray[np.float64]
"""One number, or an array of them."""


def pick(condition: Any, yes: Any, no: Any) -> Any:
    """``yes if condition else no``."""
    return (
        np.where(condition, yes, no)
        if isinstance(condition, np.ndarray)
        else (yes if condition else no)
    )


def larger(a: Any, b: Any) -> Any:
    """The larger of two."""
    if a.__class__ is float and b.__class__ is float:
        return a if a > b else b
    return np.maximum(a, b) if isinstance(a, np.ndarray) or isinstance(b, np.ndarray) else max(a, b)


def smaller(a: Any, b: Any) -> Any:
    """The smaller of two."""
    return np.minimum(a, b) if isinstance(a, np.ndarray) or isinstance(b, np.ndarray) else min(a, b)


def positive(value: Any) -> Any:
    """A value where it is over 0, else 0."""
    if isinstance(value, np.ndarray):
        return np.maximum(value, 0.0)
    return value if value > 0.0 else 0.0


def dead_band(value: Any, band: Any) -> Any:
    """What is left of a value outside a band around zero: nothing within it, beyond it the value
    less the band.

    Parameters
    ----------
    value : float or ndarray
    band : float or ndarray
        Half the width of the band, at least 0, in the unit of the value.
    """
    if value.__class__ is float and band.__class__ is float:
        if value > band:
            return value - band
        return value + band if value < -band else 0.0
    return np.maximum(value - band, 0.0) + np.minimum(value + band, 0.0)


def plain(value: Any) -> Any:
    """A float for a single number however numpy holds it, an array of floats for several."""
    array = np.asarray(value, dtype=float)
    return array.item() if array.ndim == 0 else array


def by_value(function: Callable[..., float], *values: Any) -> Any:
    """A function of single values, for single values or arrays of them: once for each distinct row.

    Parameters
    ----------
    function : callable
        From as many numbers or texts as there are values to a float.
    *values : float, str or ndarray
        Of one length.
    """
    if not any(isinstance(value, np.ndarray) for value in values):
        return function(*values)
    columns = [np.unique(value, return_inverse=True) for value in np.broadcast_arrays(*values)]
    rows = np.column_stack([place.ravel() for _, place in columns])
    distinct, at = np.unique(rows, axis=0, return_inverse=True)
    found = [
        function(*(own[place].item() for (own, _), place in zip(columns, row, strict=True)))
        for row in distinct
    ]
    return np.array(found)[at.ravel()]
