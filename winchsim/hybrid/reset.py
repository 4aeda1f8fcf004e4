"""What happens between two segments: the state after a switch and the mode that follows."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from winchsim.frozen import dataclass

__all__ = ["Switch"]


@dataclass(frozen=True)
class Switch:
    """Answer of a problem to fired guards: the next mode and the state that it starts from.

    Parameters
    ----------
    key : hashable or None
        Key of the next mode; None ends the run here.
    y : ndarray or sequence of float, shape (n,)
        State after the switch, in the problem's own units. The same as before where nothing jumps.
    events : tuple
        Labels or objects for the record; they are kept with the time and the two states.
    """

    key: Any
    y: np.ndarray | Sequence[float]
    events: tuple[Any, ...] = ()
