"""What lies between a motor's rotor and the shaft that drives the winch: its own load-dependent
loss, and its gearbox."""

import math

from winchsim.assumption import Estimate
from winchsim.errors import refuse_if
from winchsim.frozen import dataclass

PAIR_EFFICIENCY = (0.90, 0.87, 0.94)
"""Efficiency of one spur pair of a bought gearbox, and its range [-]. A planetary stage has two
such meshes (0.81). F. Faulhaber, "A second look at gearbox efficiencies", Machine Design, 20 June
2002: 10 % an engagement; 0.87 at 6.3:1 and 0.40 at 10,683:1. Citizen Micro, technical notes on
geared motors: 90 % a spur, 81 % a planetary stage (excerpts read)."""

RATIO_OF_A_PAIR = 3.3
"""Reduction of one spur pair of a bought gearbox [-]. From the same gearhead series and gearmotors
of 6.25:1 to 150:1."""

RATIO_OF_A_PLANETARY_STAGE = 5.0
"""Largest reduction of one planetary stage of a bought gearbox [-]. Own assumption."""

OWN_EFFICIENCY = (0.85, 0.78, 1.0)
"""Torque constant over back-e.m.f. constant of a small motor with iron core, and its range [-]:
from no-load and stall values of makers' data sheets, such as 0.84 of the motor in Pololu's 37D data
sheet, rev. 1.2 (excerpt read)."""

HIGHEST_OUTPUT_SPEED = 3000.0 * math.pi / 30.0
LEAST_ASKED_RATIO = 10.0
"""A no-load speed above the first [rad/s] is no output speed of a gearbox of the second [-] or
more. Own choice."""


@dataclass(frozen=True)
class OutputGearbox:
    """A gearbox bought with the motor.

    Parameters
    ----------
    ratio : float
        Reduction, > 0. [-]
    efficiency : float or None
        With the motor driving, 0 < e <= 1. With data at the output it divides the loss that they
        show between motor and gearbox; with data at the motor, left out, it comes from the number
        of gear pairs. [-]
    reverse_efficiency : float or None
        Of gearbox and motor together with the load driving; negative locks. [-]
    kind : str
        ``spur`` or ``planetary``.
    data_at : str or None
        Which shaft the motor's data belong to, ``output`` or ``motor``; None: the output, unless
        the speed says otherwise.
    """

    ratio: float
    efficiency: float | None = None
    reverse_efficiency: float | None = None
    kind: str = "spur"
    data_at: str | None = None

    @property
    def pairs(self) -> int:
        """Gear pairs that a gearbox of this ratio is taken to have [-]."""
        decades = abs(math.log(self.ratio))
        if self.kind == "planetary":
            return 2 * max(1, math.ceil(decades / math.log(RATIO_OF_A_PLANETARY_STAGE) - 1e-9))
        return max(1, round(decades / math.log(RATIO_OF_A_PAIR)))

    @property
    def estimate(self) -> Estimate:
        """Efficiency from the number of gear pairs."""
        value, low, high = (each**self.pairs for each in PAIR_EFFICIENCY)
        return Estimate(value, low, high, f"0.9 for each of {self.pairs} meshes")

    def ask(self, speed: float) -> None:
        """Refuse a no-load speed [rad/s] that no output shaft has, unless it is said where the data
        belong."""
        refuse_if(
            self.data_at is None
            and self.ratio >= LEAST_ASKED_RATIO
            and speed > HIGHEST_OUTPUT_SPEED,
            "gearbox.data_at",
            None,
            '"motor" if the data are those of the motor alone, "output" if the '
            "shaft behind the gearbox really turns so fast",
        )


@dataclass(frozen=True)
class Output:
    """The chain element behind a motor's drag: ratio and efficiencies of its own load-dependent
    loss and its gearbox.

    Attributes
    ----------
    ratio : float
        Rotor speed over output speed. [-]
    efficiency : float
        With the motor driving. [-]
    own_efficiency : float
        The motor's part of it. [-]
    pairs : int
        Gear pairs that share the loss; 1 for a motor alone. [-]
    given_reverse : float or None
        Efficiency with the load driving, if it is known. [-]
    geared : bool
    """

    ratio: float
    efficiency: float
    own_efficiency: float
    pairs: int = 1
    given_reverse: float | None = None
    geared: bool = False

    @property
    def reverse(self) -> float:
        """Efficiency with the load driving that live motors take: where it is not known the
        highest, so that no load is held by an assumption. [-]"""
        return self.reverse_range[2] if self.given_reverse is None else self.given_reverse

    @property
    def dragged(self) -> float:
        """The same that dead motors take: the expected one. [-]"""
        return self.reverse_range[0] if self.given_reverse is None else self.given_reverse

    @property
    def reverse_range(self) -> tuple[float, float, float]:
        """Expected reverse efficiency with the lowest and the highest that the forward one leaves
        open [-].

        Notes
        -----
        The same friction torque both ways in each of n equal pairs gives ``(2 - e^(-1/n))^n``.
        Friction of one pair alone gives ``2 - 1/e``; a loss that does not grow with the torque
        passed back leaves up to ``sqrt(e)``. Own derivation.
        """
        each = 2.0 - self.efficiency ** (-1.0 / self.pairs)
        expected = each**self.pairs if each > 0.0 else each
        return expected, 2.0 - 1.0 / self.efficiency, math.sqrt(self.efficiency)

    @property
    def assumed(self) -> dict[str, Estimate]:
        """The reverse efficiency, where it is not known."""
        if self.given_reverse is not None or self.efficiency >= 1.0:
            return {}
        _, low, high = self.reverse_range
        key = "gearbox.reverse_efficiency" if self.geared else "reverse_efficiency"
        why = "from the forward efficiency, the end that passes most torque back"
        return {key: Estimate(self.reverse, low, high, why)}
