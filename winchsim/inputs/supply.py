"""What feeds the motors."""

from __future__ import annotations

from dataclasses import dataclass

from winchsim.inputs.spec import choice, quantity


@dataclass(frozen=True, kw_only=True)
class Supply:
    """What feeds the motors."""

    voltage: float = quantity("V", "open-circuit voltage", 0, 1000, open=True, spread="3 %")
    resistance: float = quantity(
        "ohm", "internal and wiring resistance", 0, 1e4, 0.0, spread="20 %"
    )
    current_limit: float | None = quantity(
        "A",
        "current at which the supply limits itself",
        0,
        1e5,
        None,
        open=True,
        quiet=True,
        left_out="no limit",
    )
    kind: str = choice(
        "a bench supply takes nothing back, a battery does",
        ("bench", "battery"),
        "bench",
        quiet=False,
    )
    off: str = choice(
        "what power off opens: the common lead, or a switch at each motor",
        ("common lead", "each motor"),
        "common lead",
    )
    capacity: float | None = quantity(
        "A·h",
        "charge that a full battery gives",
        0,
        1e8,
        None,
        open=True,
        quiet=True,
        left_out="never empty",
    )
