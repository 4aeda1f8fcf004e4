"""The drum: its layers, what each holds, and how much rope it carries."""

import math
from typing import Any

import numpy as np

from winchsim.elementwise import plain
from winchsim.errors import DomainError, refuse_if
from winchsim.frozen import dataclass

NESTED_RISE = math.sqrt(3) / 2
"""Rise of a layer that lies in the grooves of the one below, in rope diameters. [-] Own geometry:
0.866."""

MOST_LAYERS = 200
"""More layers than this are refused: no drum of this kind carries them."""


@dataclass(frozen=True)
class Layer:
    """One layer of rope on the drum.

    Attributes
    ----------
    radius : float
        From the drum's axis to the rope's centre line. [m]
    start, end : float
        Rope wound on when the layer begins and when it is full, from the first turn of the first
        layer. [m]
    """

    radius: float
    start: float
    end: float


def layers(
    diameter: float,
    width: float,
    rope_diameter: float,
    length: float,
    *,
    nested: bool = False,
    dead_turns: float = 0.0,
) -> tuple[Layer, ...]:
    r"""Layers that a length of rope makes on a drum, dead turns included.

    Parameters
    ----------
    diameter : float
        Core diameter. [m]
    width : float
        Between the flanges. [m]
    rope_diameter : float
        Rope diameter. [m]
    length : float
        Rope to be wound on besides the dead turns. [m]
    nested : bool
        Whether each layer lies in the grooves of the one below (rise 0.866 d) instead of on top of
        it (rise d).
    dead_turns : float
        Turns that are on the drum already and stay there; they fill the first layers. [-]

    Returns
    -------
    tuple of Layer
        Ascending; the last one may be partly filled. Lengths count from the first dead turn.

    Raises
    ------
    DomainError
        The rope is wider than the drum, or over 200 layers would be needed.

    Notes
    -----
    ``r_j = D/2 + d/2 + (j - 1) h`` with ``h = d`` or ``0.866 d``; ``n = floor(width/d)`` turns a
    layer.

    References
    ----------
    .. [1] Own geometry; agrees with the layer sum printed in *Handbook of Oceanographic Winch, Wire
       and Cable Technology*, 3rd ed., ch. 12.
    """
    turns = turns_per_layer(width, rope_diameter)
    rise = rope_diameter * (NESTED_RISE if nested else 1.0)
    found: list[Layer] = []
    start = 0.0
    for count in range(1, MOST_LAYERS + 1):
        radius = diameter / 2 + rope_diameter / 2 + (count - 1) * rise
        found.append(Layer(radius, start, start + 2 * math.pi * radius * turns))
        start = found[-1].end
        if dead_turns <= count * turns and start >= length + dead_length(
            tuple(found), dead_turns, width, rope_diameter
        ):
            return tuple(found)
    raise DomainError("drum.width", width, f"a drum that takes the rope in {MOST_LAYERS} layers")


def outermost_radius(
    first: Any,
    width: Any,
    rope_diameter: float,
    length: float,
    *,
    nested: bool,
    dead_turns: float,
) -> Any:
    """Radius of the outermost layer that a length of rope makes, the dead turns on the first. [m]

    Parameters
    ----------
    first : float or ndarray
        Radius of the first layer. [m]
    width, rope_diameter, length, nested, dead_turns
        As in `layers`.

    Notes
    -----
    k layers hold ``2 pi n (k r + k (k - 1) h/2)``; the least k that takes the rope.
    """
    rise = rope_diameter * (NESTED_RISE if nested else 1.0)
    turns = length / (2 * math.pi * turns_per_layer(width, rope_diameter))
    held = turns + first * dead_turns / turns_per_layer(width, rope_diameter)
    middle = first / rise - 0.5
    filled = (middle**2 + 2 * held / rise) ** 0.5 - middle
    return plain(first + rise * (np.ceil(np.maximum(filled - 1e-9, 1.0)) - 1))


def turns_per_layer(width: Any, rope_diameter: float) -> Any:
    """Whole turns that lie side by side between the flanges; a hundred-thousandth of a rope is
    forgiven for rounding.

    Raises
    ------
    DomainError
        The rope is wider than the drum.
    """
    turns = width / rope_diameter + 1e-5
    many = isinstance(turns, np.ndarray)
    refuse_if(
        (turns.min() if many else turns) < 1, "drum.width", width, "at least one rope diameter"
    )
    return np.floor(turns) if many else math.floor(turns)


def dead_length(
    stack: tuple[Layer, ...], turns: float, width: float, rope_diameter: float
) -> float:
    """Rope in the dead turns, which fill the first layers. [m]

    Parameters
    ----------
    stack : tuple of Layer
        From `layers`.
    turns : float
        Dead turns. [-]
    width, rope_diameter : float
        As given to `layers`. [m]
    """
    per_layer = turns_per_layer(width, rope_diameter)
    return sum(
        2 * math.pi * layer.radius * min(max(turns - k * per_layer, 0.0), per_layer)
        for k, layer in enumerate(stack)
    )
