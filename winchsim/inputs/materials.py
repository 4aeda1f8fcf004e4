"""Materials that a scenario adds."""

from __future__ import annotations

from dataclasses import dataclass

from winchsim.inputs.spec import choice, number, quantity, text


@dataclass(frozen=True, kw_only=True)
class OwnMaterial:
    """A material that the user adds, or whose values they replace."""

    name: str = text("its name")
    family: str = choice("what sort it is", ("printed polymer", "moulded polymer", "metal"))
    tensile_strength: float = quantity(
        "MPa", "tensile strength, of a print in the plane of its layers", 0, 1e10, open=True
    )
    elastic_modulus: float | None = quantity(
        "GPa",
        "elastic modulus",
        0,
        1e13,
        None,
        open=True,
        left_out="2 GPa of a polymer, 70 GPa of a metal",
    )
    density: float | None = quantity(
        "kg/m³",
        "density",
        0,
        3e4,
        None,
        open=True,
        left_out="1200 kg/m³ of a polymer, 7850 kg/m³ of a metal",
    )
    yield_strength: float | None = quantity(
        "MPa",
        "yield strength of a metal",
        0,
        1e10,
        None,
        open=True,
        left_out="half the tensile strength of a metal",
    )
    softening: float | None = quantity(
        "°C", "temperature at which it softens", 0, 600, None, left_out="60 °C for a polymer"
    )
    service_limit: float | None = quantity(
        "°C", "highest temperature for lasting use", 0, 600, None
    )
    across_layers: float | None = number(
        "strength across the layers of a print, over that in their plane",
        0,
        1,
        None,
        open=True,
        left_out="0.6 of a print",
    )
    friction: float | None = number("friction on itself, dry", 0, 2, None)
    fatigue_stress: float | None = quantity(
        "MPa", "root stress of one point of its S–N line", 0, 1e10, None, open=True
    )
    fatigue_cycles: float | None = number("cycles to failure at that stress", 1, 1e12, None)
    fatigue_slope: float | None = number("exponent of cycles against stress", 1, 50, None)
    fatigue_source: str | None = text("where the S–N line is from", None)
