"""Dataclasses with shared methods behave as those of the standard library."""

import copy
import dataclasses
import pickle
from dataclasses import field
from typing import Any

import pytest

from winchsim.frozen import dataclass, replace


@dataclass(frozen=True)
class Shaft:
    """A shaft."""

    radius: float
    length: float = 0.5
    notes: list[str] = field(default_factory=list)
    volume: float = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "volume", 3 * self.radius**2 * self.length)


@dataclass(frozen=True)
class Stepped(Shaft):
    """A shaft with a step."""

    step: float = 0.1


@dataclass(frozen=True, kw_only=True)
class Key:
    """Named arguments only."""

    width: float


@dataclass
class Count:
    """One that may be changed."""

    value: int = 0


def test_fields_come_from_arguments_and_defaults() -> None:
    shaft = Shaft(2.0, notes=["bent"])
    assert (shaft.radius, shaft.length, shaft.notes, shaft.volume) == (2.0, 0.5, ["bent"], 6.0)
    assert Stepped(1.0, 2.0, step=0.3) == Stepped(radius=1.0, length=2.0, step=0.3)
    assert Shaft(1.0).notes is not Shaft(1.0).notes


@pytest.mark.parametrize(
    ("make", "named"),
    [
        (lambda: Shaft(), "missing: radius"),
        (lambda: Shaft(1.0, diameter=2.0), "unknown: diameter"),
        (lambda: Shaft(1.0, radius=2.0), "given twice: radius"),
        (lambda: Shaft(1.0, volume=2.0), "unknown: volume"),
        (lambda: Shaft(1.0, 2.0, [], 4.0), "too many: 4"),
        (lambda: Key(1.0), "too many: 1"),
    ],
)
def test_wrong_arguments_are_named(make: Any, named: str) -> None:
    with pytest.raises(TypeError, match=named):
        make()


def test_equality_and_hash_go_by_class_and_fields() -> None:
    assert Key(width=1.0) == Key(width=1.0) != Key(width=2.0)
    assert hash(Key(width=1.0)) == hash(Key(width=1.0))
    assert Stepped(1.0) != Shaft(1.0)
    with pytest.raises(TypeError):
        hash(Count())


def test_what_is_kept_beside_the_fields_counts_for_nothing() -> None:
    first, second = Key(width=1.0), Key(width=1.0)
    object.__setattr__(first, "_kept", 1)
    assert first == second
    assert not hasattr(replace(first, width=2.0), "_kept")


def test_a_frozen_one_cannot_be_changed() -> None:
    key = Key(width=1.0)
    with pytest.raises(dataclasses.FrozenInstanceError):
        key.width = 2.0  # type: ignore[misc]
    with pytest.raises(dataclasses.FrozenInstanceError):
        del key.width
    count = Count()
    count.value = 3
    assert count == Count(3)


def test_a_copy_with_changes_is_checked_as_a_new_one() -> None:
    shaft = Stepped(2.0, step=0.2)
    assert replace(shaft, radius=1.0) == Stepped(1.0, step=0.2)
    assert replace(shaft, radius=1.0).volume == 1.5
    with pytest.raises(TypeError, match="unknown: diameter"):
        replace(shaft, diameter=1.0)  # type: ignore[call-arg]
    with pytest.raises(TypeError, match="unknown: volume"):
        replace(shaft, volume=1.0)


def test_the_standard_library_knows_them() -> None:
    shaft = Stepped(2.0, step=0.2)
    assert dataclasses.replace(shaft, radius=3.0) == Stepped(3.0, step=0.2)
    assert dataclasses.asdict(Key(width=1.0)) == {"width": 1.0}
    assert [f.name for f in dataclasses.fields(shaft)][-1] == "step"
    assert pickle.loads(pickle.dumps(shaft)) == copy.deepcopy(shaft) == shaft
    assert repr(Key(width=1.0)) == "Key(width=1.0)"
