"""A gearbox bought with the motor, whose output the motor's data belong to."""

from __future__ import annotations

import math
from dataclasses import dataclass

from winchsim.errors import DomainError
from winchsim.physics.motor.law import require_positive

_RATIO_PER_STAGE = 5.0
"""Largest reduction that a bought gearbox makes in one spur or planetary stage. Own assumption."""


@dataclass(frozen=True)
class OutputGearbox:
    """A gearbox bought with the motor: the data given are at its output.

    Speeds at the output times the ratio, and torques divided by ratio and efficiency, are the motor's own.
    The gearbox itself then stands in the chain as one element with this ratio and these efficiencies and
    without a constant drag, because its idle drag is in the no-load current and so in the motor's. Each loss
    is counted once.

    Parameters
    ----------
    ratio : float
        Reduction, > 0. [-]
    efficiency : float
        With the motor driving, 0 < e <= 1. [-]
    reverse_efficiency : float or None
        With the load driving; None takes 2 - 1/e of each of its stages (not of the whole), the stages counted
        from the ratio. Negative: it locks. [-]

    Raises
    ------
    DomainError
        A value outside its range.
    """

    ratio: float
    efficiency: float
    reverse_efficiency: float | None = None

    def __post_init__(self) -> None:
        require_positive("gearbox.ratio", self.ratio, "-")
        if not (0.0 < self.efficiency <= 1.0):
            raise DomainError("gearbox.efficiency", self.efficiency, "a number above 0, up to 1")
        if self.reverse_efficiency is not None and not (-math.inf < self.reverse_efficiency <= 1.0):
            raise DomainError("gearbox.reverse_efficiency", self.reverse_efficiency, "a number up to 1")

    @property
    def stages(self) -> int:
        """Stages that a gearbox of this ratio is taken to have."""
        return max(1, math.ceil(abs(math.log(self.ratio)) / math.log(_RATIO_PER_STAGE) - 1e-9))

    @property
    def reverse(self) -> float:
        """Reverse efficiency, given or taken from the stages [-]."""
        if self.reverse_efficiency is not None:
            return self.reverse_efficiency
        each = 2.0 - self.efficiency ** (-1.0 / self.stages)
        return each**self.stages if each > 0.0 else each
