"""Dataclasses that share their methods.

`dataclasses` compiles up to six methods for each class. A lift uses over 150 classes, and that was
an eighth of the whole process. Here all classes share one set of methods; `fields`, `replace` and
`asdict` of `dataclasses` work on them as on its own, and so does a type checker.
"""

from __future__ import annotations

import dataclasses
from typing import TYPE_CHECKING, Any, NamedTuple

__all__ = ["dataclass", "replace"]

if TYPE_CHECKING:
    from dataclasses import dataclass, replace
else:

    def dataclass(cls=None, /, *, frozen=False, eq=True, kw_only=False):
        """As `dataclasses.dataclass`, for the options used here."""

        def made(cls):
            return _made(cls, frozen, eq, kw_only)

        return made if cls is None else made(cls)

    def replace(item, /, **changes):
        """As `dataclasses.replace`."""
        shape = item._shape
        if not changes.keys() <= shape.taken:
            raise TypeError(_mistake(type(item).__name__, shape, 0, {}, item.__dict__ | changes))
        new, old = object.__new__(item.__class__), item.__dict__
        new.__dict__.update({name: old[name] for name in shape.names}, **changes)
        if shape.checked:
            new.__post_init__()
        return new


class _Shape(NamedTuple):
    """What the shared methods need to know of a class: its fields, and what its constructor
    takes."""

    names: tuple[str, ...]
    taken: frozenset[str]
    positional: tuple[str, ...]
    defaults: dict[str, Any]
    factories: tuple[tuple[str, Any], ...]
    checked: bool


def _made(cls: type, frozen: bool, eq: bool, kw_only: bool) -> type:
    cls.__doc__ = cls.__doc__ or cls.__name__  # else `dataclasses` composes one, at some cost
    methods: dict[str, Any] = {"__init__": _init, "__repr__": _repr}
    if eq:
        methods |= {"__eq__": _eq, "__hash__": _hash if frozen else None}
    if frozen:
        methods |= {"__setattr__": _set, "__delattr__": _delete}
    methods = {name: method for name, method in methods.items() if name not in vars(cls)}
    made: Any = dataclasses.dataclass(init=False, repr=False, eq=False, kw_only=kw_only)(cls)
    fields = dataclasses.fields(made)
    taken = [field for field in fields if field.init]
    missing = dataclasses.MISSING
    methods["_shape"] = _Shape(
        tuple(field.name for field in fields),
        frozenset(field.name for field in taken),
        tuple(field.name for field in taken if not field.kw_only),
        {field.name: field.default for field in taken if field.default is not missing},
        tuple(
            (field.name, field.default_factory)
            for field in taken
            if field.default_factory is not missing
        ),
        hasattr(made, "__post_init__"),
    )
    for name, method in methods.items():
        setattr(made, name, method)
    return made


def _init(self: Any, *args: Any, **named: Any) -> None:
    shape, values = self._shape, self.__dict__
    values.update(shape.defaults)
    values.update(zip(shape.positional, args, strict=False))
    values.update(named)
    for name, factory in shape.factories:
        if name not in values:
            values[name] = factory()
    if (
        values.keys() != shape.taken
        or len(args) > len(shape.positional)
        or (args and named and not named.keys().isdisjoint(shape.positional[: len(args)]))
    ):
        raise TypeError(_mistake(type(self).__name__, shape, len(args), named, values))
    if shape.checked:
        self.__post_init__()


def _mistake(
    name: str, shape: _Shape, count: int, named: dict[str, Any], values: dict[str, Any]
) -> str:
    """What is wrong with the arguments of a constructor."""
    faults = {
        "missing": [field for field in shape.names if field in shape.taken - values.keys()],
        "unknown": sorted(values.keys() - shape.taken),
        "given twice": [field for field in shape.positional[:count] if field in named],
        "too many": [str(count)] * (count > len(shape.positional)),
    }
    return f"{name}: " + "; ".join(
        f"{what}: {', '.join(names)}" for what, names in faults.items() if names
    )


def _repr(self: Any) -> str:
    shown = [f"{name}={getattr(self, name)!r}" for name in self._shape.names]
    return f"{type(self).__qualname__}({', '.join(shown)})"


def _eq(self: Any, other: Any) -> Any:
    if other.__class__ is not self.__class__:
        return NotImplemented
    mine, others = self.__dict__, other.__dict__
    for name in self._shape.names:
        if mine[name] is not others[name] and mine[name] != others[name]:
            return False
    return True


def _hash(self: Any) -> int:
    values = self.__dict__
    return hash(tuple([values[name] for name in self._shape.names]))


def _set(_: Any, name: str, __: Any) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot assign to field {name!r}")


def _delete(_: Any, name: str) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot delete field {name!r}")
