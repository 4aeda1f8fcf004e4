"""Dataclasses that share their methods.

`dataclasses` compiles up to six methods for each class. A lift uses over 150 classes, and that was
an eighth of the whole process. Here all classes share one set of methods; `fields`, `replace` and
`asdict` of `dataclasses` work on them as on its own, and so does a type checker.
"""

from __future__ import annotations

import dataclasses
from functools import partial
from types import SimpleNamespace
from typing import TYPE_CHECKING, Any

__all__ = ["dataclass", "replace"]

if TYPE_CHECKING:
    from dataclasses import dataclass, replace
else:

    def dataclass(cls=None, /, *, frozen=False, eq=True, kw_only=False):
        """As `dataclasses.dataclass`, for the options used here."""
        made = partial(_made, frozen=frozen, eq=eq, kw_only=kw_only)
        return made if cls is None else made(cls)

    def replace(item, /, **changes):
        """As `dataclasses.replace`."""
        shape, old = item._shape, item.__dict__
        if not changes.keys() <= shape.taken:
            raise _mistake(item, (), {}, old | changes)
        new = object.__new__(item.__class__)
        new.__dict__.update({name: old[name] for name in shape.names}, **changes)
        if shape.checked:
            new.__post_init__()
        return new


def _made(cls: type, *, frozen: bool, eq: bool, kw_only: bool) -> type:
    cls.__doc__ = cls.__doc__ or cls.__name__  # else `dataclasses` composes one, at some cost
    methods: dict[str, Any] = {"__init__": _init, "__repr__": _repr}
    if eq:
        methods |= {"__eq__": _eq, "__hash__": _hash if frozen else None}
    if frozen:
        methods |= {"__setattr__": _refuse, "__delattr__": _refuse}
    methods = {name: method for name, method in methods.items() if name not in vars(cls)}
    made: Any = dataclasses.dataclass(init=False, repr=False, eq=False, kw_only=kw_only)(cls)
    fields, missing = dataclasses.fields(made), dataclasses.MISSING
    taken = [f for f in fields if f.init]
    methods["_shape"] = SimpleNamespace(  # what the shared methods need to know of the class
        names=tuple(f.name for f in fields),
        taken=frozenset(f.name for f in taken),
        positional=tuple(f.name for f in taken if not f.kw_only),
        defaults={f.name: f.default for f in taken if f.default is not missing},
        factories={f.name: f.default_factory for f in taken if f.default_factory is not missing},
        checked=hasattr(made, "__post_init__"),
    )
    for name, method in methods.items():
        setattr(made, name, method)
    return made


def _init(self: Any, *args: Any, **named: Any) -> None:
    shape, values = self._shape, self.__dict__
    values.update(shape.defaults)
    values.update(zip(shape.positional, args, strict=False))
    values.update(named)
    for name, factory in shape.factories.items():
        if name not in values:
            values[name] = factory()
    if (
        values.keys() != shape.taken
        or len(args) > len(shape.positional)
        or (args and named and not named.keys().isdisjoint(shape.positional[: len(args)]))
    ):
        raise _mistake(self, args, named, values)
    if shape.checked:
        self.__post_init__()


def _mistake(
    self: Any, args: tuple[Any, ...], named: dict[str, Any], values: dict[str, Any]
) -> TypeError:
    """What is wrong with the arguments of a constructor."""
    shape, count = self._shape, len(args)
    faults = {
        "missing": [name for name in shape.names if name in shape.taken - values.keys()],
        "unknown": sorted(values.keys() - shape.taken),
        "given twice": [name for name in shape.positional[:count] if name in named],
        "too many": [str(count)] * (count > len(shape.positional)),
    }
    found = (f"{what}: {', '.join(names)}" for what, names in faults.items() if names)
    return TypeError(f"{type(self).__name__}: " + "; ".join(found))


def _repr(self: Any) -> str:
    shown = [f"{name}={getattr(self, name)!r}" for name in self._shape.names]
    return f"{type(self).__qualname__}({', '.join(shown)})"


def _eq(self: Any, other: Any) -> Any:
    if other.__class__ is not self.__class__:
        return NotImplemented
    mine, its = self.__dict__, other.__dict__
    for name in self._shape.names:  # a loop is several times quicker: chains are keys of caches
        if mine[name] is not its[name] and mine[name] != its[name]:
            return False
    return True


def _hash(self: Any) -> int:
    return hash(tuple([self.__dict__[name] for name in self._shape.names]))


def _refuse(_: Any, name: str, *__: Any) -> None:
    raise dataclasses.FrozenInstanceError(f"cannot change field {name!r}")
