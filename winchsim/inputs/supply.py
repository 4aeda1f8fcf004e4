"""What feeds the motors."""

from __future__ import annotations

from dataclasses import dataclass

from winchsim.inputs.spec import choice, positive, quantity


@dataclass(frozen=True, kw_only=True)
class Supply:
    """What feeds the motors."""

    voltage: float = positive("open-circuit voltage", "V", 1000, usual=(3, 48), spread="3 %")
    resistance: float = quantity(
        "internal and wiring resistance",
        "ohm",
        0,
        1e4,
        0.0,
        usual=(0, 1),
        assumed=(0, 0.3, "own assumption: a short lead and a small battery or bench supply"),
        spread="20 %",
    )
    current_limit: float | None = positive(
        "current at which the supply limits itself",
        "A",
        1e4,
        None,
        usual=(0.5, 50),
        quiet=True,
        left_out="no limit",
    )
    kind: str = choice(
        "a bench supply takes nothing back, a battery does",
        ("bench", "battery"),
        "bench",
        quiet=False,
        label="kind of supply",
    )
    off: str = choice(
        "what power off opens: the common lead, or a switch at each motor",
        ("common lead", "each motor"),
        "common lead",
        label="power off opens",
    )
    capacity: float | None = positive(
        "charge that a full battery gives",
        "A·h",
        1e4,
        None,
        usual=(0.5, 50),
        condition=("kind", ("battery",)),
        quiet=True,
        left_out="never empty",
    )
