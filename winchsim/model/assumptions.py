"""What building a winch had to assume, and the materials that it looks up by name."""

from collections.abc import Mapping
from typing import Any

from winchsim import inputs as scenario
from winchsim.assumption import Assumed
from winchsim.errors import DomainError, did_you_mean
from winchsim.inputs import Inputs
from winchsim.physics.motor.fitted import FitNote


class Assumptions:
    """Collects what was assumed, each path once, in the order in which it came up."""

    def __init__(self) -> None:
        self._rows: dict[str, tuple[Any, str, float | None, float | None]] = {}
        self._read_off: set[str] = set()
        self.notes: list[tuple[int, FitNote]] = []

    def assume(
        self,
        path: str,
        value: Any,
        low: float | None = None,
        high: float | None = None,
        *,
        why: str,
    ) -> Any:
        """Note a value that was not given, and return it."""
        self._rows.setdefault(path, (value, why, low, high))
        return value

    def read_off(self, path: str, value: float, why: str, tolerance: float) -> None:
        """Note a value that was given, but not measured on this build, with its tolerance. [-]"""
        self._read_off.add(path)
        self.assume(path, value, (1 - tolerance) * value, (1 + tolerance) * value, why=why)

    def fill_in(
        self,
        given: Any,
        path: str,
        value: Any,
        low: float | None = None,
        high: float | None = None,
        *,
        why: str,
    ) -> Any:
        """What was given; else the value that is assumed instead of it, noted."""
        return self.assume(path, value, low, high, why=why) if given is None else given

    def rows(self, inputs: Inputs) -> tuple[Assumed, ...]:
        """Everything assumed: defaults of the scenario first, then what was estimated, with the
        unit of its declaration."""
        found: dict[str, Assumed] = {}
        for path, value, spec in scenario.walk(inputs):
            if spec.quiet or value is None or path in inputs.given:
                continue
            if value == spec.default:
                low, high, why = spec.assumed or (None, None, "default")
                found[path] = Assumed(path, value, spec.unit, low, high, why)
        for path, (value, why, low, high) in self._rows.items():
            if path in self._read_off or path not in inputs.given:
                found.setdefault(path, Assumed(path, value, unit_of(inputs, path), low, high, why))
        return tuple(found.values())


def unit_of(inputs: Inputs, path: str) -> str:
    """Unit of a key; empty where there is none, or no such key."""
    try:
        return scenario.spec_at(inputs, path).unit
    except DomainError:
        return ""


def look_up(table: Mapping[str, Any], name: str, path: str) -> Any:
    """Material or rope of a name.

    Raises
    ------
    DomainError
        The table has no such row.
    """
    if name in table:
        return table[name]
    hint = did_you_mean(name, table)
    raise DomainError(
        path, name, "one of " + ", ".join(sorted(table)) + (f"; {hint}" if hint else "")
    )
