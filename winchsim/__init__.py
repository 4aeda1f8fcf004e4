"""winchsim: a time-step simulator of a motor-driven winch lift.

The Python face::

    import winchsim

    anvil = winchsim.load("scenarios/01-anvil-onto-the-bench.toml")
    heavier = winchsim.changed(anvil, "load.mass", "40 kg")
    record = winchsim.lift(heavier)
    height, tension = record["height"], winchsim.with_units(record, "tension")
    sentence = winchsim.judge(record).sentence

Nothing heavy is imported before it is used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from winchsim.version import __version__ as __version__

if TYPE_CHECKING:
    from winchsim.report.quantities import with_units as with_units
    from winchsim.scenario.change import changed as changed
    from winchsim.scenario.read import load as load
    from winchsim.scenario.read import loads as loads
    from winchsim.simulate import simulate as lift
    from winchsim.verdict.judge import judge as judge

__all__ = ["__version__", "changed", "judge", "lift", "load", "loads", "with_units"]

_FROM = {
    "changed": ("winchsim.scenario.change", "changed"),
    "judge": ("winchsim.verdict.judge", "judge"),
    "lift": ("winchsim.simulate", "simulate"),
    "load": ("winchsim.scenario.read", "load"),
    "loads": ("winchsim.scenario.read", "loads"),
    "with_units": ("winchsim.report.quantities", "with_units"),
}


def __getattr__(name: str) -> Any:
    if name not in _FROM:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, function = _FROM[name]
    found = getattr(import_module(module), function)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(set(globals()) | set(__all__))
