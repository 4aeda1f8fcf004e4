"""winchsim: a time-step simulator of a motor-driven winch lift.

In Python::

    import winchsim

    hoist = winchsim.read("scenarios/01-workshop-hoist.toml")
    heavier = winchsim.with_value(hoist, "load.mass", "15 kg")
    record = winchsim.simulate(heavier)
    height, tension = record["height"], winchsim.with_units(record, "tension")
    print(winchsim.assess(record))
    winchsim.figure(record, "energy").savefig("energy.png")

Results rest on a model: they are neither a test nor an approval. Keep the area below a load clear,
never lift people, follow local codes, and let a competent person decide.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from winchsim.version import __version__ as __version__

if TYPE_CHECKING:
    from winchsim.face import (
        assess as assess,
        calibrate as calibrate,
        choose as choose,
        figure as figure,
        ladder as ladder,
        parse as parse,
        read as read,
        simulate as simulate,
        size as size,
        spread as spread,
        sweep as sweep,
        why as why,
        with_units as with_units,
        with_value as with_value,
    )

__all__ = [
    "__version__",
    "assess",
    "calibrate",
    "choose",
    "figure",
    "ladder",
    "parse",
    "read",
    "simulate",
    "size",
    "spread",
    "sweep",
    "why",
    "with_units",
    "with_value",
]


def __getattr__(name: str) -> Any:
    if name not in __all__:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    return getattr(import_module("winchsim.face"), name)


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
