"""One row of a test sheet: what a test of a lift was planned with, and what it showed."""

from winchsim.frozen import dataclass
from winchsim.inputs.spec import choice, flag, integer, positive, quantity, text


@dataclass(frozen=True, kw_only=True)
class SheetRow:
    """One test of a rung: what was predicted and what was measured, in SI (°C for temperatures);
    None where blank. Steady currents and voltages at the motors are means over the middle half of
    the lift time."""

    rung: int | None = integer("step of the ladder, from 1", 0, 1000, None)
    mass: float | None = quantity("test load, 0 for an unloaded run", "kg", 0, 1e7, None)
    height: float | None = quantity("height lifted", "m", 0, 1e4, None)
    predicted_time: float | None = quantity("predicted lift time", "s", 0, 1e6, None)
    predicted_current: float | None = quantity("predicted steady current", "A", 0, 1e5, None)
    voltage: float | None = quantity("supply voltage set", "V", 0, 1000, None)
    winding_start: float | None = quantity("winding temperature at the start", "°C", -60, 300, None)
    rest_before: float | None = quantity("rest before the test", "s", 0, 1e7, None)
    measured_time: float | None = positive("measured lift time", "s", 1e6, None)
    measured_current: float | None = quantity("measured steady current", "A", 0, 1e5, None)
    measured_voltage: float | None = quantity("voltage measured at the motors", "V", 0, 1000, None)
    held: bool | None = flag("whether the load held with the power off", None)
    outcome: str | None = choice(
        "how the test ended", ("lifted", "stalled", "broke", "stopped"), None
    )
    broke_link: str | None = text("what broke", None)
    note: str | None = text("anything worth knowing", None)
