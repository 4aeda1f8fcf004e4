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

import os
from importlib import import_module
from typing import TYPE_CHECKING, Any

from winchsim.version import __version__ as __version__

if TYPE_CHECKING:
    from winchsim.assessment.evaluate import assess as assess
    from winchsim.inputs import Inputs
    from winchsim.model import Machine
    from winchsim.record import Record
    from winchsim.report.figures.catalogue import figure as figure
    from winchsim.report.quantities import with_units as with_units
    from winchsim.scenario.change import sweep as sweep
    from winchsim.scenario.change import with_value as with_value
    from winchsim.scenario.read import load as read
    from winchsim.scenario.read import loads as parse
    from winchsim.studies.sizing import size as size

__all__ = [
    "__version__", "assess", "figure", "parse", "read", "simulate", "size", "sweep", "with_units",
    "with_value",
]  # fmt: skip

_FROM = {
    "assess": ("winchsim.assessment.evaluate", "assess"),
    "figure": ("winchsim.report.figures.catalogue", "figure"),
    "parse": ("winchsim.scenario.read", "loads"),
    "read": ("winchsim.scenario.read", "load"),
    "size": ("winchsim.studies.sizing", "size"),
    "sweep": ("winchsim.scenario.change", "sweep"),
    "with_units": ("winchsim.report.quantities", "with_units"),
    "with_value": ("winchsim.scenario.change", "with_value"),
}


def simulate(scenario: str | os.PathLike[str] | Inputs | Machine, **options: Any) -> Record:
    """Record of the lift of a scenario, or of the file of one.

    Parameters
    ----------
    scenario : str, path, Inputs or Machine
        A file, what `read` returns, or a winch already built from it.
    **options
        As `winchsim.simulation.simulate` takes them.

    Raises
    ------
    InputError
        The file is not a scenario, or cannot be built; with every fault found.
    """
    if isinstance(scenario, str | os.PathLike):
        scenario = import_module("winchsim.scenario.read").load(os.fspath(scenario))
    record: Record = import_module("winchsim.simulation").simulate(scenario, **options)
    return record


def __getattr__(name: str) -> Any:
    if name not in _FROM:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    module, function = _FROM[name]
    found = getattr(import_module(module), function)
    globals()[name] = found
    return found


def __dir__() -> list[str]:
    return sorted(set(globals()) | set(__all__))
