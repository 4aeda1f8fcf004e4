"""What may differ from build to build: each number with how far it may be off, and how often it is
how far."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, ndtri

from winchsim.errors import DomainError
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, Spec, spec_at, value_at, walk
from winchsim.model import Machine
from winchsim.model.restate import shaft_drags

Array = NDArray[np.float64]

NORMAL_CUT = 3.0
"""A normal distribution is cut off at so many standard deviations. [-]"""

STRENGTH = "strength of "
"""Begins the name of a strength that is uncertain, in place of a path."""

_SHARED = ("voltage", "winding_start", "winding_limit")
"""Values of a motor group that all its motors have in common."""

_NAMED = ("tabled", "from memory")
"""Strengths with this basis are as uncertain as their range says; a given or tested one is what the
user says it is."""


@dataclass(frozen=True)
class Given:
    """A tolerance that the user gives.

    Attributes
    ----------
    path : str
    half_width : float
        Of the interval that nearly all parts lie in: the ends of a uniform or triangular
        distribution, two standard deviations of a normal one. [SI]
    shape : str
        ``uniform``, ``normal`` or ``triangular``.
    """

    path: str
    half_width: float
    shape: str


@dataclass(frozen=True)
class Uncertain:
    """One number that differs from build to build.

    Attributes
    ----------
    path : str
        Of the value; for a strength its name.
    center, low, high : float
        Most likely value, and the interval that nearly all parts lie in; multiples of the estimate
        for a strength. [SI]
    shape : str
        ``uniform``, ``normal`` or ``triangular``.
    unit : str
        Unit to print it in.
    assumed : bool
        Whether the scenario does not say it.
    each : bool
        Whether every motor of its group draws its own.
    links : tuple of int
        For a strength: places of the machine's links that it is the strength of.
    bounds : tuple of float
        No value lies beyond them. [SI]
    """

    path: str
    center: float
    low: float
    high: float
    shape: str
    unit: str
    assumed: bool
    each: bool = False
    links: tuple[int, ...] = ()
    bounds: tuple[float, float] = (-np.inf, np.inf)

    @property
    def is_strength(self) -> bool:
        """Whether it is the strength of links rather than a value of the scenario."""
        return bool(self.links)

    def quantile(self, shares: Array) -> Array:
        """Values below which shares of all parts lie. [SI]

        Parameters
        ----------
        shares : ndarray
            Between 0 and 1. [-]
        """
        return np.clip(draw(shares, self.center, self.low, self.high, self.shape), *self.bounds)


def draw(shares: Array, center: float, low: float, high: float, shape: str) -> Array:
    """Values of a distribution below which shares of all lie.

    Parameters
    ----------
    shares : ndarray
        Between 0 and 1. [-]
    center, low, high : float
        As in `Uncertain`.
    shape : str
    """
    shares = np.asarray(shares, dtype=float)
    if high <= low:
        return np.full(shares.shape, center)
    if shape == "uniform":
        return low + (high - low) * shares
    if shape == "triangular":
        rising, falling = (center - low) * (high - low), (high - center) * (high - low)
        up = low + np.sqrt(shares * rising)
        return np.where(
            shares * (high - low) < center - low, up, high - np.sqrt((1 - shares) * falling)
        )
    tail = ndtr(-NORMAL_CUT)
    return center + (high - low) / 4 * ndtri(tail + (1 - 2 * tail) * shares)


def uncertain(inputs: Inputs, machine: Machine, given: Sequence[Given]) -> tuple[Uncertain, ...]:
    """Every value that differs from build to build of a scenario, strengths aside.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from it.
    given : sequence of Given
        They stand before what is assumed.

    Returns
    -------
    tuple of Uncertain
        What the user gives; what usually differs from part to part, wherever the scenario gives a
        value; and what the scenario leaves out, within the range of its estimate.

    Raises
    ------
    DomainError
        A tolerance of a value that is not there, or no number.
    """
    found: dict[str, Uncertain] = {}
    for row in given:
        found[row.path] = _given(inputs, row)
    for path, value, spec in walk(inputs):
        is_assumed = spec.assumed is not None and path not in inputs.given
        if (
            spec.spread
            and not is_assumed
            and isinstance(value, float)
            and value
            and path not in found
        ):
            half = abs(value) * float(spec.spread.removesuffix("%")) / 100
            found[path] = _around(path, value, half, "normal", spec, assumed=True)
    for path, center, low, high in _estimates(inputs, machine):
        if path not in found:
            spec = spec_at(inputs, path)
            found[path] = Uncertain(
                path, center, low, high, "triangular", spec.unit, True, bounds=_bounds(spec)
            )
    return tuple(found.values())


def _given(inputs: Inputs, row: Given) -> Uncertain:
    spec, value = spec_at(inputs, row.path), value_at(inputs, row.path)
    if spec.kind not in ("quantity", "number") or not isinstance(value, float):
        raise DomainError(row.path, value, "a number that the scenario gives")
    if row.shape not in ("uniform", "normal", "triangular"):
        raise DomainError(row.path, row.shape, "uniform, normal or triangular")
    return _around(row.path, value, row.half_width, row.shape, spec, assumed=False)


def _around(
    path: str, value: float, half: float, shape: str, spec: Spec, *, assumed: bool
) -> Uncertain:
    parts = path.split(".")
    each = parts[0] == "motors" and parts[-1] not in _SHARED
    return Uncertain(
        path,
        value,
        value - half,
        value + half,
        shape,
        spec.unit,
        assumed,
        each,
        bounds=_bounds(spec),
    )


def _bounds(spec: Spec) -> tuple[float, float]:
    """Bounds that a drawn value keeps to."""
    low = max(spec.low, 1e-9 * min(spec.high, 1.0)) if spec.low_open else spec.low
    return low, spec.high


def _estimates(inputs: Inputs, machine: Machine) -> list[tuple[str, float, float, float]]:
    """Values that the scenario leaves out, with the range of their estimate: path, value and both
    ends."""
    found = []
    for row in machine.assumed:
        settable = (
            row.low is not None
            and row.high is not None
            and row.low < row.high
            and isinstance(row.value, float)
        )
        if settable and _is_path(inputs, row.path) and not row.path.endswith(".shaft_drag"):
            found.append((row.path, float(row.value), float(row.low), float(row.high)))  # type: ignore[arg-type]
    for path, most in shaft_drags(inputs, machine).items():
        if value_at(inputs, path) is None and most > 0:
            found.append((path, 0.0, 0.0, most))
    return found


def _is_path(inputs: Inputs, path: str) -> bool:
    try:
        return spec_at(inputs, path).kind in ("quantity", "number")
    except DomainError:
        return False


def strengths(machine: Machine) -> tuple[Uncertain, ...]:
    """Strengths of links that are known within a range; one draw for all that are made alike.

    Parameters
    ----------
    machine : Machine
    """
    alike: dict[str, list[int]] = {}
    for place, link in enumerate(machine.links):
        strength = link.strength
        if strength.basis in _NAMED and strength.low < strength.high and strength.value > 0:
            name = (
                f"the teeth of {link.where.replace('.', ' ')}"
                if link.kind.is_tooth
                else f"the {link.label}"
            )
            alike.setdefault(STRENGTH + name, []).append(place)
    found = []
    for name, places in alike.items():
        first = machine.links[places[0]].strength
        low, high = first.low / first.value, first.high / first.value
        found.append(
            Uncertain(
                name,
                1.0,
                low,
                high,
                "triangular",
                "",
                True,
                links=tuple(places),
                bounds=(0.0, np.inf),
            )
        )
    return tuple(found)
