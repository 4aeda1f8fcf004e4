"""What may be known of a motor beside its working points."""

from winchsim.assumption import Assumption
from winchsim.constants import COPPER_COEFFICIENT, FERRITE_COEFFICIENT
from winchsim.errors import DomainError
from winchsim.frozen import dataclass
from winchsim.physics.motor.output import OWN_EFFICIENCY, Gearbox, Output
from winchsim.quantity_text import quantity


@dataclass(frozen=True)
class Extras:
    """What may be known of a motor beside its working points, the same for all ways of describing
    it.

    Attributes
    ----------
    brush_drop : float
        Voltage lost at both brushes together, >= 0. [V]
    drag_speed_share : float
        Share of the no-load drag that grows with speed, 0 to 1. [-]
    inertia : float, optional
        Of the rotor; left out: from a mechanical time constant of 15 ms. [kg·m²]
    magnet_coefficient, copper_coefficient : float
        As for `Motor`. [1/K]
    gearbox : Gearbox, optional
        Bought with the motor.
    efficiency : float, optional
        Torque constant over back-e.m.f. constant of the motor alone, used where the data do not
        show it. [-]
    reverse_efficiency : float, optional
        Of a motor without gearbox, with the load driving. [-]
    breakaway : float, optional
        Load-dependent losses at rest over those in motion, >= 1. [-]
    measured : bool
        Whether the data were measured on this motor.
    strict : bool
        Whether data that no motor can have are refused; else the stall torque gives way.
    """

    brush_drop: float = 0.0
    drag_speed_share: float = 0.0
    inertia: float | None = None
    magnet_coefficient: float = FERRITE_COEFFICIENT
    copper_coefficient: float = COPPER_COEFFICIENT
    gearbox: Gearbox | None = None
    efficiency: float | None = None
    reverse_efficiency: float | None = None
    breakaway: float | None = None
    measured: bool = False
    strict: bool = True

    @property
    def at_output(self) -> bool:
        """Whether the data belong to the output of a gearbox."""
        return self.gearbox is not None and self.gearbox.data_at != "motor"

    @property
    def ratio(self) -> float:
        """Rotor speed over the speed of the shaft that the data belong to [-]."""
        return self.gearbox.ratio if self.gearbox and self.at_output else 1.0

    @property
    def least_of_gearbox(self) -> float:
        """Efficiency that a gearbox behind which the data hold may have at least [-]."""
        if self.gearbox is None or not self.at_output:
            return 1.0
        return self.gearbox.efficiency or self.gearbox.estimate.low

    def constant_from_run(
        self, voltage: float, current: float, speed: float, resistance: float
    ) -> float:
        """Back-e.m.f. constant from one unloaded run, ``(U - drop - I0 R)/w``. [V·s/rad]

        Parameters
        ----------
        voltage, current, speed : float
            Of the run, where the data belong. [V], [A], [rad/s]
        resistance : float
            [ohm]
        """
        if self.gearbox is not None:
            self.gearbox.ask(speed)
        back_emf = voltage - self.brush_drop - current * resistance
        if back_emf <= 0.0:
            most = quantity((voltage - self.brush_drop) / resistance, "A")
            raise DomainError(
                "no_load_current",
                current,
                f"less than {most}, which this motor draws stalled at that voltage",
            )
        return back_emf / (speed * self.ratio)

    def constant_from_stall(
        self, torque: float, current: float, no_load_current: float, key: str
    ) -> float:
        """Torque constant from the pull of a stalled motor, up to the data's shaft, ``M/(I - (1 -
        s) I0)``. [N·m/A]

        Parameters
        ----------
        torque, current : float
            With the shaft held, where the data belong. [N·m], [A]
        no_load_current : float
            [A]
        key : str
            Names the current, should it be too small.
        """
        pulling = current - (1.0 - self.drag_speed_share) * no_load_current
        if pulling <= 0.0:
            raise DomainError(key, current, "more than the no-load current")
        return torque / self.ratio / pulling

    def usual_efficiency(self) -> tuple[float, tuple[Assumption, ...]]:
        """Torque constant over back-e.m.f. constant of data that do not show it, and what it rests
        on. [-]"""
        value, rows = self.efficiency, []
        if value is None:
            why = "torque and speed constants of small iron-cored motors"
            rows.append(Assumption("efficiency", *OWN_EFFICIENCY, why))
            value = rows[0].value
        if self.gearbox is not None and self.at_output:
            if self.gearbox.efficiency is None:
                rows.append(self.gearbox.estimate)
            value *= self.gearbox.efficiency or self.gearbox.estimate.value
        return value, tuple(rows)

    def output_of(self, efficiency: float) -> tuple[Output, tuple[Assumption, ...]]:
        """The element behind a rotor whose data show an efficiency, and what it rests on."""
        box = self.gearbox
        if box is None:
            found = Output(1.0, efficiency, efficiency, 1, self.reverse_efficiency)
            return found, found.assumed
        of_box = box.efficiency or box.estimate.value
        whole, own = efficiency, min(1.0, efficiency / of_box)
        if not self.at_output:
            whole, own = efficiency * of_box, efficiency
        found = Output(box.ratio, whole, own, box.pairs, box.reverse_efficiency, True)
        assumed = () if self.at_output or box.efficiency else (box.estimate,)
        return found, (*assumed, *found.assumed)
