"""The programme, the required factors, the conditions of the run and the tolerances of a spread."""

from __future__ import annotations

from dataclasses import dataclass

from winchsim.constants import STANDARD_GRAVITY
from winchsim.inputs.spec import choice, number, quantity, text

SHORTEST_LIMIT = 60.0
LIMIT_PER_ESTIMATE = 5.0
LIMIT_TEXT = f"{LIMIT_PER_ESTIMATE:g} times the estimate, at least {SHORTEST_LIMIT:g} s"
"""Time limit of a phase that has none: so many times the closed-form estimate, at least so long. [s], [-]"""


@dataclass(frozen=True, kw_only=True)
class Phase:
    """One step of the programme."""

    action: str = choice("what the power does", ("raise", "lower", "off", "short"))
    until: str = choice("what ends the phase besides its time", ("top", "floor", "time"), "time")
    time: float | None = quantity(
        "s",
        "longest time of this phase",
        0,
        1e6,
        None,
        open=True,
        left_out=LIMIT_TEXT,
    )
    voltage: float | None = quantity(
        "V", "supply voltage in this phase", 0, 1000, None, left_out="the supply's", quiet=True
    )
    current_limit: float | None = quantity(
        "A",
        "current limit in this phase",
        0,
        1e5,
        None,
        open=True,
        left_out="the supply's",
        quiet=True,
    )
    ramp: float = quantity("s", "time in which the voltage rises", 0, 1e5, 0.0, quiet=True)


@dataclass(frozen=True, kw_only=True)
class Factors:
    """Required factors: how many times its load each kind of link must bear."""

    tooth: float = number("for gear teeth", 1, 100, 2.0)
    shaft: float = number("for shafts and the drum rod", 1, 100, 2.0)
    pin: float = number("for the cross-pin", 1, 100, 3.0)
    rope: float = number("for the rope at its end and at the drum", 1, 100, 7.0)
    anchor: float = number("for the rope's hold on the drum", 1, 100, 2.0)


@dataclass(frozen=True, kw_only=True)
class Settings:
    """Surroundings and how the run is made."""

    gravity: float = quantity(
        "m/s²", "acceleration of gravity", 0, 100, STANDARD_GRAVITY, open=True, quiet=True
    )
    ambient: float = quantity("°C", "air temperature", -60, 80, 20.0)
    breakaway: float = number("losses at rest against losses in motion", 1, 5, 1.3, spread="10 %")
    watch: float = quantity("s", "how long the held load is watched", 0, 1e5, 10.0, quiet=True)
    sample_step: float | None = quantity(
        "s",
        "time between the rows of the CSV record",
        0,
        1e5,
        None,
        open=True,
        quiet=True,
        left_out="the run's own steps",
    )
    stall_watch: float = quantity(
        "s", "how long the power stays on after a stall", 0, 1e4, 60.0, quiet=True
    )
    relative_tolerance: float = number(
        "relative tolerance of the integrator", 1e-12, 1e-3, 1e-5, quiet=True
    )


@dataclass(frozen=True, kw_only=True)
class Tolerance:
    """How far one value may differ from part to part."""

    path: str = text("path of the value")
    by: str = text("half width, as a percentage or in the value's unit")
    shape: str = choice("distribution", ("uniform", "normal", "triangular"), "normal")
