"""Choices that are made for one float at once and for an array element by element: one formula serves both."""

from __future__ import annotations

from typing import Any

import numpy as np


def pick(condition: Any, yes: Any, no: Any) -> Any:
    """``yes if condition else no``."""
    return np.where(condition, yes, no) if isinstance(condition, np.ndarray) else (yes if condition else no)


def larger(a: Any, b: Any) -> Any:
    """The larger of two."""
    return np.maximum(a, b) if isinstance(a, np.ndarray) or isinstance(b, np.ndarray) else max(a, b)


def smaller(a: Any, b: Any) -> Any:
    """The smaller of two."""
    return np.minimum(a, b) if isinstance(a, np.ndarray) or isinstance(b, np.ndarray) else min(a, b)


def positive(value: Any) -> Any:
    """A value where it is over 0, else 0."""
    if isinstance(value, np.ndarray):
        return np.maximum(value, 0.0)
    return value if value > 0.0 else 0.0
