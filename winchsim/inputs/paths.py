"""The declarations read, and values found and changed by their paths."""

import dataclasses
import re
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from types import MappingProxyType
from typing import Any, get_args, get_type_hints

from winchsim.errors import DomainError, UnknownPathError, did_you_mean
from winchsim.frozen import replace
from winchsim.inputs.scenario import Inputs, Parts
from winchsim.inputs.spec import Spec, out_of_bounds

REMOVED = {
    "motors.inductance": "the current of a small motor follows the voltage at once",
    "stage.infill_exponent": "walls and infill count in the gear's body, with a measured exponent",
    "settings.after_overload": "a lift always ends when a part breaks",
}
"""Keys of earlier versions, without numbers, and why each is no longer used. Files that give one
are still read; its value has no effect."""

SELECTORS = frozenset({"known_by"})
"""Keys that choose one of several descriptions, which may stand side by side in a file."""


def without_numbers(path: str) -> str:
    """Path of a key whatever the number of its table: ``motors.pinion`` of ``motors.2.pinion``."""
    return re.sub(r"\.\d+(?=\.|$)", "", path)


def _declared(table: Any) -> Mapping[str, Spec]:
    hints, found = get_type_hints(table), {}
    for f in (f for f in dataclasses.fields(table) if "spec" in f.metadata):
        spec: Spec = f.metadata["spec"]
        inner = filter(dataclasses.is_dataclass, (hints[f.name], *get_args(hints[f.name])))
        found[f.name] = replace(
            spec, label=spec.label or f.name.replace("_", " "), table=next(inner, None)
        )
    return MappingProxyType(found)


specs: Callable[[type], Mapping[str, Spec]] = cache(_declared)
"""Declarations of a table's values, by key, in the order in which they are declared, of one of the
dataclasses of this package; fields without a declaration (such as ``given``) are left out."""


def walk(node: Any, prefix: str = "") -> Iterator[tuple[str, Any, Spec]]:
    """Every single value of a build with its path and declaration, in declared order; parts at
    hand are none of it.

    Parameters
    ----------
    node : dataclass
        `Inputs` or one of its tables.
    prefix : str
        Path of `node`, empty for the whole.

    Yields
    ------
    (str, object, Spec)
    """
    for key, spec in specs(type(node)).items():
        value, path = getattr(node, key), f"{prefix}{key}"
        if not spec.table:
            yield path, value, spec
        elif spec.kind == "tables":
            for index, item in enumerate(value, start=1):
                yield from walk(item, f"{path}.{index}.")
        elif value is not None and not isinstance(value, Parts):
            yield from walk(value, f"{path}.")


def in_force(table: Any) -> Any:
    """A table whose values without a meaning with its present kind are as where none is given."""
    idle = {
        key: spec.default
        for key, spec in specs(type(table)).items()
        if spec.condition is not None and not spec.applies_to(table)
    }
    return replace(table, **idle) if idle else table


Idle = tuple[str, str, str, tuple[str, ...]]
"""A given value that means nothing with the kind that its table is of: its path, the path of the
key that decides, that key's present value, and those with which it would apply."""


def idle(node: Any, given: Any = None, prefix: str = "") -> Iterator[Idle]:
    """Every given value of a scenario that means nothing with the kind of its table, those of parts
    too; of a table of it, the given paths and what paths begin with are named."""
    given = node.given if given is None else given
    for key, spec in specs(type(node)).items():
        value, path = getattr(node, key), f"{prefix}{key}"
        if spec.condition is not None and not spec.applies_to(node):
            decides, wanted = spec.condition
            if path in given or (spec.table and value):
                yield path, f"{prefix}{decides}", getattr(node, decides), wanted
        elif spec.kind == "tables":
            for number, row in enumerate(value, start=1):
                yield from idle(row, given, f"{path}.{number}.")
        elif spec.table and value is not None:
            yield from idle(value, given, f"{path}.")


def value_at(inputs: Any, path: str) -> Any:
    """Value that a path names.

    Raises
    ------
    UnknownPathError
        There is no such path.
    """
    node, part = inputs, ""
    try:
        for part in path.split("."):
            node = _child(node, part)
    except (KeyError, TypeError, ValueError) as error:
        raise UnknownPathError(path, part, _known_key(path, inputs)) from error
    return node


def spec_at(inputs: Any, path: str) -> Spec:
    """Declaration of the value that a path names."""
    head, _, key = path.rpartition(".")
    owner = value_at(inputs, head) if head else inputs
    try:
        return specs(type(owner))[key]
    except (KeyError, TypeError) as error:
        raise UnknownPathError(path, key, _known_key(path, inputs)) from error


def is_number(inputs: Any, path: str) -> bool:
    """Whether a path names a number."""
    try:
        return spec_at(inputs, path).kind in ("quantity", "number")
    except UnknownPathError:
        return False


def with_value(inputs: Inputs, path: str, value: Any) -> Inputs:
    """Scenario with one value changed, checked against its bounds.

    Parameters
    ----------
    inputs : Inputs
        Left as it is.
    path : str
        Such as ``load.mass`` or ``stage.3.walls``.
    value : object
        New value in SI (°C for temperatures), or text, or a whole table.

    Returns
    -------
    Inputs
        With `path` counted as given.

    Raises
    ------
    DomainError
        The path is unknown or the value outside its bounds.
    """
    spec = spec_at(inputs, path)
    if problem := out_of_bounds(spec, value):
        raise DomainError(path, value, problem)
    return replace(put(inputs, path.split("."), value), given=inputs.given | {path})


def with_values(inputs: Inputs, values: Mapping[str, Any]) -> Inputs:
    """Scenario with several values changed, by path; see `with_value`."""
    for path, value in values.items():
        inputs = with_value(inputs, path, value)
    return inputs


def put(node: Any, parts: list[str], value: Any) -> Any:
    """A table with the value that the parts of a path lead to changed, unchecked."""
    head, rest = parts[0], parts[1:]
    new = put(_child(node, head), rest, value) if rest else value
    if isinstance(node, tuple):
        return (*node[: int(head) - 1], new, *node[int(head) :])
    return replace(node, **{head: new})


def _child(node: Any, part: str) -> Any:
    """What one part of a path leads to; the rows of a list are counted from 1."""
    if isinstance(node, tuple):
        return dict(enumerate(node, start=1))[int(part)]
    if part not in specs(type(node)):
        raise KeyError(part)
    return getattr(node, part)


def _known_key(path: str, inputs: Any) -> str:
    """What is accepted in place of an unknown path, with the nearest that there is."""
    hint = did_you_mean(path, [known for known, _, _ in walk(inputs)])
    return "a known key" + (f"; {hint}" if hint else "")
