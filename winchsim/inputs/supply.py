"""The supply of the motors, and a speed controller between."""

from winchsim.frozen import dataclass
from winchsim.inputs.spec import choice, flag, positive, quantity, share, table


@dataclass(frozen=True, kw_only=True)
class Controller:
    """A speed controller that switches the motors on and off faster than their current follows."""

    duty: float = share(
        "share of the time for which it connects the motors at most",
        1.0,
        usual=(0.2, 1),
        quiet=True,
    )
    limit: float | None = positive(
        "current at which it lowers its duty",
        "A",
        1e4,
        None,
        usual=(0.5, 50),
        quiet=True,
        left_out="no limit",
    )
    limit_side: str = choice(
        "where that current is measured",
        ("motor", "battery"),
        "motor",
    )
    braking: bool = flag("whether its bridge lets current flow back into the supply", False)


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
    over_current: str = choice(
        "at its limit it holds it, folds back, or switches off",
        ("hold", "foldback", "trip"),
        "hold",
        label="at its limit",
    )
    fold_current: float | None = positive(
        "current that it folds back to with its terminals joined",
        "A",
        1e4,
        None,
        usual=(0.1, 10),
        condition=("over_current", ("foldback",)),
        left_out="20 % of the limit",
    )
    trip_delay: float | None = quantity(
        "time at the limit after which it switches off",
        "s",
        0,
        1e3,
        None,
        usual=(0.01, 5),
        condition=("over_current", ("trip",)),
        left_out="0.1 s",
    )
    controller: Controller | None = table("speed controller between supply and motors", None)
