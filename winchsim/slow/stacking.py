"""Many machines as one whose numbers are arrays, so that the functions of one physics serve
thousands of variants at once."""

import math
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, TypeVar

import numpy as np

from winchsim.frozen import dataclass, replace
from winchsim.model import Machine
from winchsim.model.electric import DriveLaw
from winchsim.model.estimate import raising_phase
from winchsim.model.machine import PhaseStep
from winchsim.physics.drum import Layer
from winchsim.strength.link import LinkKind

T = TypeVar("T")


@dataclass(frozen=True)
class SlowLink:
    """A link with what it bears, for one machine or for many.

    Attributes
    ----------
    kind : LinkKind
    where, label : str
        Path into the scenario, and the link for people.
    channel : str
        As in `winchsim.model.machine.LinkLimit`.
    index : int
        Which mesh or element.
    bears : float or ndarray
        Value of the channel at which it breaks. [N or N·m]
    required : float
        Factor below which it is a caution. [-]
    """

    kind: LinkKind
    where: str
    label: str
    channel: str
    index: int
    bears: Any
    required: Any


@dataclass(frozen=True)
class Batch:
    """Variants of a winch with the same parts in the same places; every number is a float that all
    share, or an array.

    Attributes
    ----------
    size : int
        Variants.
    machine : Machine
        With arrays for numbers; its links are `SlowLink`, its layers stand below.
    raising : PhaseStep
        The phase that raises.
    lets_go : bool
        Whether the power goes off at the top.
    radii, ends : ndarray, shape (layers, size)
        Of each layer: radius of the rope's centre line, and rope on the drum when it is full,
        counted as in `winchsim.physics.drum.layers`; layers that a variant has not got are
        infinite. [m]
    layer_counts : ndarray of int, shape (size,)
        Layers that the flanges or the rope leave room for.
    coarse : bool
        Whether fewer steps do, as they do for a comparison of the variants with each other.
    powered_until : float
        Time at which the motors stop warming, standing under power until then where they stalled;
        infinite: they warm for as long as the drum turns. [s]
    """

    size: int
    machine: Machine
    raising: PhaseStep
    lets_go: bool
    radii: np.ndarray
    ends: np.ndarray
    layer_counts: np.ndarray
    coarse: bool = False
    powered_until: float = math.inf

    def law(self, temperatures: tuple[Any, Any] | None = None) -> DriveLaw:
        """Torque law of supply and motors at temperatures of the windings and cases of each live
        group [°C], at the start's where they are left out."""
        return DriveLaw(self.machine, self.raising, *(temperatures or start_temperatures(self)))


def start_temperatures(batch: Batch) -> tuple[np.ndarray, np.ndarray]:
    """Winding and case temperatures at the start, of each live group. [°C]"""
    groups = batch.machine.groups
    return (
        rows([g.winding_start for g in groups], batch.size),
        rows([g.case_start for g in groups], batch.size),
    )


def unchecked(item: T, **values: Any) -> T:
    """A frozen dataclass with other values, arrays included, past its constructor's checks, which
    are for one value each."""
    changed = object.__new__(item.__class__)
    changed.__dict__.update(item.__dict__, **values)
    return changed


def bare(machine: Machine) -> Machine:
    """A machine without what only its report needs, ready to be stacked."""
    links = tuple(
        SlowLink(k.kind, k.where, k.label, k.channel, k.index, k.bears, k.required)
        for k in machine.links
    )
    return replace(
        machine,
        title="",
        groups=tuple(replace(g, fit=None) for g in machine.groups),  # type: ignore[arg-type]
        dragged=tuple(replace(g, fit=None) for g in machine.dragged),  # type: ignore[arg-type]
        layers=(),
        phases=(raising_phase(machine), *_power_off(machine)),
        links=links,  # type: ignore[arg-type]
        scales=None,  # type: ignore[arg-type]
        assumed=(),
        notes=(),
    )


def _power_off(machine: Machine) -> tuple[PhaseStep, ...]:
    """The phase without power after the last that raises, if there is one."""
    *programme, _ = machine.phases
    last = max((k for k, step in enumerate(programme) if step.action == "raise"), default=0)
    return tuple(step for step in programme[last + 1 : last + 2] if not step.powered)


def shape_of(machine: Machine) -> tuple[Any, ...]:
    """What machines must have in common to be stacked."""
    return (
        (len(machine.groups), *(unit.number for unit in machine.units)),
        tuple(
            tuple(e.rest is None for e in row)
            for row in (machine.chain.elements, *(g.elements for g in machine.chain.groups))
        ),
        tuple((mesh.path, mesh.element) for mesh in machine.meshes),
        tuple((link.kind, link.where, link.channel, link.index) for link in machine.links),
        (
            machine.source.takes_back,
            machine.source.limit_side,
            machine.source.fold_to is None,
            machine.source.plain,
            machine.off_each,
            machine.pawl,
            machine.drum_element,
            machine.line.falls,
        ),
        machine.braked_chain is machine.chain,
        (raising_phase(machine).action, len(_power_off(machine))),
    )


def stack_machines(machines: Sequence[Machine]) -> Batch:
    """Batch of machines that were built one by one.

    Parameters
    ----------
    machines : sequence of Machine
        At least one, all of one shape (`shape_of`).
    """
    return stack([bare(machine) for machine in machines], [[m.layers] for m in machines])


def stacks_by_shape(machines: Mapping[int, Machine]) -> Iterator[tuple[list[int], Batch]]:
    """Batches of all machines, one for each shape, with the numbers of its machines.

    Parameters
    ----------
    machines : Mapping of int to Machine
    """
    alike: dict[Any, list[int]] = {}
    for number, machine in machines.items():
        alike.setdefault(shape_of(machine), []).append(number)
    for numbers in alike.values():
        yield numbers, stack_machines([machines[number] for number in numbers])


def stack(machines: Sequence[Machine], layers: Sequence[Sequence[Sequence[Layer]]]) -> Batch:
    """Batch of `bare` machines of one shape, each with the layers of all variants that its arrays
    stand for."""
    stacks = [own for several in layers for own in several]
    counts = np.array([len(own) for own in stacks])
    radii, ends = (np.full((counts.max(), len(stacks)), np.inf) for _ in range(2))
    for column, own in enumerate(stacks):
        radii[: len(own), column] = [layer.radius for layer in own]
        ends[: len(own), column] = [layer.end for layer in own]
    joined = join(machines, [len(several) for several in layers])
    if all(machine.braked_chain is machine.chain for machine in machines):
        joined = unchecked(joined, braked_chain=joined.chain)
    raising, *lets_go = joined.phases
    return Batch(len(stacks), joined, raising, bool(lets_go), radii, ends, counts)


def join(items: Sequence[Any], sizes: Sequence[int]) -> Any:
    """One object of several of the same kind: numbers that differ become an array, what is equal
    stays as it is.

    Parameters
    ----------
    items : sequence
        Numbers, arrays, or frozen dataclasses and tuples of them, all built alike; text is taken
        from the first.
    sizes : sequence of int
        Variants that each stands for; its arrays have that length.
    """
    first: Any = items[0]
    if len(items) == 1:
        return first
    if isinstance(first, float | int | np.ndarray | np.generic) and not isinstance(first, bool):
        if any(isinstance(item, np.ndarray) for item in items):
            pairs = zip(items, sizes, strict=True)
            return np.concatenate([np.full(size, item, dtype=float) for item, size in pairs])
        alike = all(item == first for item in items)
        return first if alike else np.repeat(np.array(items, dtype=float), sizes)
    if isinstance(first, tuple):
        return tuple(join(row, sizes) for row in zip(*items, strict=True))
    names = getattr(type(first), "__dataclass_fields__", None)
    if names is None or all(item is first for item in items):  # arrays are never shared
        return first
    return unchecked(
        first, **{name: join([getattr(item, name) for item in items], sizes) for name in names}
    )


def rows(values: Sequence[Any], size: int) -> np.ndarray:
    """Numbers or arrays over variants as one array. Shape (values, size)"""
    return np.array([np.broadcast_to(v, (size,)) for v in values]).reshape(len(values), size)
