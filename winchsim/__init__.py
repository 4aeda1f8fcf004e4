"""winchsim: a time-step simulator of a motor-driven winch lift.

The Python face::

    import winchsim

    hoist = winchsim.read("scenarios/01-workshop-hoist.toml")
    heavier = winchsim.with_value(hoist, "load.mass", "15 kg")
    record = winchsim.simulate(heavier)
    height, tension = record["height"], winchsim.with_units(record, "tension")
    sentence = winchsim.judge(record).sentence

Nothing heavy is imported before it is used.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING, Any

from winchsim.version import __version__ as __version__

if TYPE_CHECKING:
    from winchsim.assessment.evaluate import assess as assess
    from winchsim.report.quantities import with_units as with_units
    from winchsim.scenario.change import with_value as with_value
    from winchsim.scenario.read import load as read
    from winchsim.scenario.read import loads as parse
    from winchsim.simulation import simulate as simulate
    from winchsim.verdict.judge import judge as judge

__all__ = ["__version__", "assess", "judge", "parse", "read", "simulate", "with_units", "with_value"]

_FROM = {
    "assess": ("winchsim.assessment.evaluate", "assess"),
    "judge": ("winchsim.verdict.judge", "judge"),
    "read": ("winchsim.scenario.read", "load"),
    "parse": ("winchsim.scenario.read", "loads"),
    "simulate": ("winchsim.simulation", "simulate"),
    "with_units": ("winchsim.report.quantities", "with_units"),
    "with_value": ("winchsim.scenario.change", "with_value"),
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
