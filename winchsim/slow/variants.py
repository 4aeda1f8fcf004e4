"""From one scenario and columns of changed values to batches that can be lifted all at once."""

import re
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from winchsim.errors import DomainError, InputError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Stage, out_of_bounds, spec_at, value_at, with_value
from winchsim.model import Machine, build
from winchsim.model.assumptions import Assumptions
from winchsim.model.build import free_speed, places, rebuild, wound_layers
from winchsim.model.estimate import raising_phase
from winchsim.model.links import drum_links
from winchsim.model.train import build_train
from winchsim.physics import load, rope
from winchsim.physics.chain import reverse_of, shaft_ratios
from winchsim.slow.stacking import (
    Batch,
    bare,
    join_batches,
    pack_layers,
    shape_of,
    unchecked,
)
from winchsim.slow.teeth import geared_strength

_BY_ARRAY = re.compile(
    r"load\.(mass|guide_friction)|drum\.(diameter|width|flange_diameter)|supply\.(voltage|resistance|current_limit)"
    r"|motors\.\d+\.(count|winding_start)|stage\.\d+\.efficiency"
)
"""Paths whose values are put in as arrays; every other path is built once for each of its
values."""

_TEETH = re.compile(
    r"stage\.(\d+)\.(pinion|gear|module|width|pinion_width|material|pinion_material)"
)
"""And of these, where the stage is one pair of spur gears."""

Columns = Mapping[str, Sequence[Any] | np.ndarray]


@dataclass(frozen=True)
class Variants:
    """Variants of scenarios, in batches of the same shape.

    Attributes
    ----------
    families : tuple of (Inputs, Mapping of str to ndarray)
        Scenarios, each with changed values by path, in SI; the variants in their order.
    size : int
        Variants asked for.
    batches : tuple of (ndarray of int, Batch)
        Which variants each holds.
    problems : Mapping of int to str
        Variants that cannot be built, and why.
    """

    families: tuple[tuple[Inputs, Mapping[str, np.ndarray]], ...]
    size: int
    batches: tuple[tuple[np.ndarray, Batch], ...]
    problems: Mapping[int, str]

    @property
    def inputs(self) -> Inputs:
        """Scenario of the first variant that can be built; of the first one where none can."""
        owners = [inputs for inputs, columns in self.families for _ in range(_size(columns))]
        good = next((i for i in range(self.size) if i not in self.problems), 0)
        return owners[good]

    @property
    def columns(self) -> Mapping[str, np.ndarray]:
        """Changed values by path, where there is one scenario."""
        return self.families[0][1] if len(self.families) == 1 else {}

    def one(self, index: int) -> Inputs:
        """Scenario of one variant.

        Raises
        ------
        DomainError
            One of its values is out of bounds.
        """
        for inputs, columns in self.families:
            size = _size(columns)
            if index < size:
                for path, values in columns.items():
                    inputs = _with(inputs, path, values[index])
                return inputs
            index -= size
        raise IndexError(index)

    def at(self, path: str) -> np.ndarray:
        """Value of a path in every variant. SI"""
        return np.concatenate(
            [
                np.asarray(columns.get(path, [value_at(inputs, path)] * _size(columns)))
                for inputs, columns in self.families
            ]
        )


def _size(columns: Mapping[str, Any]) -> int:
    return len(next(iter(columns.values()))) if columns else 1


def _with(inputs: Inputs, path: str, value: Any) -> Inputs:
    """Scenario with one value taken from an array."""
    plain = value.item() if isinstance(value, np.generic) else value
    if isinstance(plain, int | float) and not isinstance(plain, bool):
        plain = (
            int(plain)
            if spec_at(inputs, path).kind == "integer" and plain == int(plain)
            else float(plain)
        )
    return with_value(inputs, path, plain)


def vary(inputs: Inputs, columns: Columns) -> Variants:
    """Variants of a scenario; see `vary_each`."""
    return vary_each([(inputs, columns)])


def vary_each(
    families: Sequence[tuple[Inputs, Columns]], *, like: Machine | None = None
) -> Variants:
    """Variants of scenarios, which may differ by more than single values.

    Parameters
    ----------
    families : sequence of (Inputs, Mapping of str to sequence)
        What the variants of each have in common, and their values by path, as for
        `winchsim.inputs.with_value`; all of one length, at least 1. Without any it is one variant.
    like : Machine, optional
        Whose links and programme are taken over, where only losses, motors and heat differ.

    Returns
    -------
    Variants

    Raises
    ------
    DomainError
        A path is unknown, the columns are of different lengths, or the programme does not raise the
        load.
    """
    problems: dict[int, str] = {}
    by_shape: dict[Any, list[tuple[np.ndarray, Batch]]] = {}
    kept, size = [], 0
    for inputs, columns in families:
        arrays = {path: np.asarray(values) for path, values in columns.items()}
        count = _size(arrays)
        own: dict[int, str] = {}
        for path, values in arrays.items():
            if values.shape != (count,) or not count:
                raise DomainError(
                    path, values.shape, f"{max(count, 1)} values, as in the other columns"
                )
        if inputs.phase and all(phase.action != "raise" for phase in inputs.phase):
            wanted = "a programme in which the load is raised"
            raise DomainError("phase", inputs.phase[0].action, wanted)
        for shape, rows, batch in _of_scenario(inputs, arrays, own, like):
            by_shape.setdefault(shape, []).append((size + rows, batch))
        problems |= {size + index: problem for index, problem in own.items()}
        kept.append((inputs, arrays))
        size += count
    batches = [
        (np.concatenate([rows for rows, _ in parts]), join_batches([batch for _, batch in parts]))
        for parts in by_shape.values()
    ]
    return Variants(tuple(kept), size, tuple(batches), problems)


def _of_scenario(
    inputs: Inputs,
    arrays: Mapping[str, np.ndarray],
    problems: dict[int, str],
    like: Machine | None,
) -> Iterator[tuple[Any, np.ndarray, Batch]]:
    """Batches of the variants of one scenario; those that cannot be built are noted."""
    for path, values in arrays.items():
        _note_out_of_bounds(problems, inputs, path, values)
    good = np.array([i for i in range(_size(arrays)) if i not in problems], dtype=int)
    quick, slow = _split(inputs, arrays)
    teeth = [path for path in quick if _TEETH.fullmatch(path)]
    pending = _families([arrays[path] for path in slow], good)
    while pending:
        members = pending.pop()
        try:
            base = inputs
            for path in (*slow, *(path for path in teeth if "material" not in path)):
                base = _with(base, path, arrays[path][members[0]])
            family = _family(base, {path: arrays[path] for path in quick}, members, problems, like)
        except (DomainError, InputError) as error:
            if teeth and len(members) > 1:  # one of them cannot be built, the others may
                pending += np.array_split(members, 2)
            else:
                problems.update({int(i): _reason(error) for i in members})
            continue
        yield from family


def _reason(error: DomainError | InputError) -> str:
    if isinstance(error, InputError):
        fault = error.faults[0]
        return f"{fault.key}: {fault.message}" + (
            f", expected {fault.expected}" if fault.expected else ""
        )
    return str(error)


def _note_out_of_bounds(
    problems: dict[int, str], inputs: Inputs, path: str, values: np.ndarray
) -> None:
    spec = spec_at(inputs, path)
    if np.issubdtype(values.dtype, np.number) and np.all(np.isfinite(values)):
        whole = spec.kind != "integer" or bool(np.all(values == np.round(values)))
        if whole and not any(
            out_of_bounds(spec, value.item()) for value in (values.min(), values.max())
        ):
            return
    if values.dtype.kind == "U" and not any(out_of_bounds(spec, v) for v in set(values.tolist())):
        return
    for index, value in enumerate(values.tolist()):
        problem = out_of_bounds(spec, value)
        if problem:
            problems.setdefault(index, f"{path} is {value}; expected {problem}")


def _split(inputs: Inputs, arrays: Mapping[str, np.ndarray]) -> tuple[list[str], list[str]]:
    """Paths that go in as arrays, and those that are built value by value."""
    quick: list[str] = []
    slow: list[str] = []
    for path in arrays:
        head, _, key = path.rpartition(".")
        teeth = _TEETH.fullmatch(path) is not None
        fits = teeth or _BY_ARRAY.fullmatch(path) is not None
        text = key.endswith("material") and arrays[path].dtype.kind == "U"
        fits = fits and (text or np.issubdtype(arrays[path].dtype, np.number))
        if fits and key == "count":
            fits = value_at(inputs, f"{head}.dead") == 0
        if fits and key == "efficiency":  # without one, the stage's bearings come and go with it
            fits = value_at(inputs, path) is not None and value_at(inputs, f"{head}.kind") != "worm"
        if fits and teeth:
            fits = _has_free_teeth(inputs, head, arrays)
        if fits and path == "stage.1.efficiency":
            fits = len(inputs.motors) == 1 and inputs.motors[0].dead == 0
        (quick if fits else slow).append(path)
    return quick, slow


def _has_free_teeth(inputs: Inputs, path: str, arrays: Mapping[str, np.ndarray]) -> bool:
    """Whether the teeth of a stage go in as arrays: nothing but the train depends on them."""
    stage, families = (
        value_at(inputs, path),
        {row.name: row.family for row in inputs.materials.values()},
    )
    printed = [
        families.get(name) == "printed polymer" for name in arrays.get(f"{path}.material", ())
    ]
    return (
        stage.kind == "spur"
        and (families.get(stage.material) == "printed polymer" or not any(printed))
        and stage.repeat == 1
        and stage.module is not None
        and all(group.output_turns is None for group in inputs.motors)
        and all(group.pinion is None for group in inputs.motors)
        and all(other.kind != "worm" for other in inputs.stage)
        and "supply.voltage" not in arrays
    )


def _families(columns: list[np.ndarray], members: np.ndarray) -> list[np.ndarray]:
    """Members that agree in all columns, in the order of their first ones."""
    if not columns:
        return [members] if len(members) else []
    found: dict[tuple[Any, ...], list[int]] = {}
    rows = zip(*(column[members].tolist() for column in columns), strict=True)
    for member, row in zip(members.tolist(), rows, strict=True):
        found.setdefault(row, []).append(member)
    return [np.array(rows) for rows in found.values()]


# --- one family


def _family(
    inputs: Inputs,
    arrays: dict[str, np.ndarray],
    members: np.ndarray,
    problems: dict[int, str],
    like: Machine | None,
) -> list[tuple[Any, np.ndarray, Batch]]:
    """Batches of the variants that differ by arrays alone; those without a drum that fits are noted
    and left out."""
    columns = {path: values[members] for path, values in arrays.items()}
    columns = {
        path: values if _TEETH.fullmatch(path) else values.astype(float)
        for path, values in columns.items()
    }
    machine = build(inputs, strict=False) if like is None else rebuild(inputs, like)
    rows = members
    drums: tuple[Any, ...] | None = None
    if _drum_in(columns):
        drums, kept = _drums(inputs, _drum_in(columns), members, problems)
        if not kept.all():
            columns = {path: values[kept] for path, values in columns.items()}
            rows = members[kept]
        if not len(rows):
            return []
    batch = _batch(inputs, machine, columns, len(rows), drums)
    return [(shape_of(machine), rows, batch)]


def _drum_in(columns: Mapping[str, Any]) -> dict[str, Any]:
    """What differs of the drum, by its keys."""
    return {path[5:]: values for path, values in columns.items() if path.startswith("drum.")}


def _drums(
    base: Inputs, drum: dict[str, Any], members: np.ndarray, problems: dict[int, str]
) -> tuple[tuple[Any, ...], np.ndarray]:
    """Layers, rope on the drum at the start, and what links of the drum bear by kind, for each
    variant; and which variants have a drum."""
    assumptions = Assumptions()
    where = places(base, assumptions)
    found: dict[tuple[float, ...], Any] = {}
    sizes = list(zip(*(values.tolist() for values in drum.values()), strict=True))
    for size in dict.fromkeys(sizes):
        own = unchecked(base, drum=unchecked(base.drum, **dict(zip(drum, size, strict=True))))
        try:
            stack, at_start = wound_layers(own, where)
            bears = {link.kind: link.bears for link in drum_links(own, stack)}
            found[size] = stack, at_start, bears
        except DomainError as error:
            found[size] = str(error)
    problems.update(
        {
            int(i): found[size]
            for i, size in zip(members, sizes, strict=True)
            if isinstance(found[size], str)
        }
    )
    kept = np.array([not isinstance(found[size], str) for size in sizes])
    return tuple(found[size] for size, fits in zip(sizes, kept, strict=True) if fits), kept


def _batch(
    base: Inputs,
    machine: Machine,
    columns: dict[str, Any],
    size: int,
    drums: tuple[Any, ...] | None,
) -> Batch:
    """The machine of a family with its columns put in."""
    plain = bare(machine)
    counts = {i: columns.get(f"motors.{g.number}.count") for i, g in enumerate(machine.groups)}
    geared = any(_TEETH.fullmatch(path) for path in columns)
    if drums is not None or geared or any(count is not None for count in counts.values()):
        plain = _retrained(plain, base, machine, counts, columns)
    if columns.keys() & {"load.mass", "load.guide_friction"}:
        plain = _loaded(plain, base, machine, columns)
    if "supply.resistance" in columns:
        plain = replace(
            plain, source=unchecked(plain.source, resistance=columns["supply.resistance"])
        )
    starts = ((g, columns.get(f"motors.{g.number}.winding_start")) for g in plain.groups)
    groups = tuple(g if start is None else replace(g, winding_start=start) for g, start in starts)
    plain = replace(plain, groups=groups)
    for path, values in columns.items():
        if path.endswith(".efficiency"):
            plain = _with_efficiency(plain, base, path.rpartition(".")[0], values)
    stacks = [machine.layers] * size if drums is None else [row[0] for row in drums]
    if drums is not None:
        at_start: Any = np.array([row[1] for row in drums])
        plain = replace(plain, wound_at_start=at_start, links=_with_drum_links(plain, drums))
    if "supply.voltage" in columns and any(link.scale != 1.0 for link in machine.links):
        plain = replace(plain, links=_at_voltage(plain, base, machine, columns["supply.voltage"]))
    raising = _raising(base, machine, columns)
    radii, ends, layer_counts = pack_layers(stacks)
    return Batch(size, replace(plain, phases=(raising,)), raising, radii, ends, layer_counts)


def _retrained(
    plain: Machine,
    base: Inputs,
    machine: Machine,
    counts: dict[int, Any],
    columns: dict[str, Any],
) -> Machine:
    """Chain, meshes and their strengths with arrays for teeth, motor counts and the drum: the same
    code as for one winch."""
    own = replace(base, drum=replace(base.drum, **_drum_in(columns)), stage=_stages(base, columns))
    live = [
        g if counts[i] is None else replace(g, count=counts[i])
        for i, g in enumerate(machine.groups)
    ]
    train = build_train(own, [*live, *machine.dragged], Assumptions())
    links: tuple[Any, ...] = plain.links
    if any(_TEETH.fullmatch(path) for path in columns):
        front = shaft_ratios(train.chain)[0]
        live = [
            replace(g, ratio=mesh.ratio * front)
            for g, mesh in zip(live, train.chain.groups, strict=False)
        ]
        speed = free_speed(base, live)
        bears = [geared_strength(link, own, train, speed) for link in machine.links]
        links = tuple(
            k if own is None else replace(k, bears=own) for k, own in zip(links, bears, strict=True)
        )
    for i, group in enumerate(machine.groups):
        if counts[i] is not None:
            box, per_motor = f"motors.{group.number}.gearbox", counts[i] / group.count
            links = tuple(
                replace(k, bears=k.bears * per_motor) if k.where == box else k for k in links
            )
    return replace(
        plain,
        chain=train.chain,
        braked_chain=train.chain if plain.braked_chain is plain.chain else train.braked,
        meshes=train.meshes,
        links=links,
        groups=tuple(
            replace(g, count=own_live.count, ratio=own_live.ratio)
            for g, own_live in zip(plain.groups, live, strict=True)
        ),
    )


def _stages(base: Inputs, columns: dict[str, Any]) -> tuple[Stage, ...]:
    """Stages with arrays for what differs of their teeth."""
    stages = list(base.stage)
    for path, values in columns.items():
        found = _TEETH.fullmatch(path)
        if found:
            place = int(found[1]) - 1
            stages[place] = unchecked(stages[place], **{found[2]: values})
    return tuple(stages)


def _with_drum_links(plain: Machine, drums: tuple[Any, ...]) -> tuple[Any, ...]:
    return tuple(
        unchecked(link, bears=np.array([bears[link.kind] for _, _, bears in drums]))
        if link.kind in drums[0][2]
        else link
        for link in plain.links
    )


def _at_voltage(plain: Machine, base: Inputs, machine: Machine, voltages: Any) -> tuple[Any, ...]:
    """Links with the velocity factor of their teeth at each voltage.

    Pitch-line speeds without load go with the voltage and the velocity factor of cut teeth is a
    straight line in the speed, so two voltages tell all.
    """
    full = value_at(base, "supply.voltage")
    at_half = build(with_value(base, "supply.voltage", full / 2), strict=False).links
    links: list[Any] = list(plain.links)
    for place, (whole, half) in enumerate(zip(machine.links, at_half, strict=True)):
        if whole.scale != half.scale:
            scale = whole.scale + (whole.scale - half.scale) * (voltages / full - 1) * 2
            links[place] = replace(links[place], bears=whole.strength.value / scale)
    return tuple(links)


def _raising(base: Inputs, machine: Machine, columns: dict[str, Any]) -> Any:
    """The raising phase with arrays of voltage and current limit, and without a time limit that the
    scenario does not give."""
    step = raising_phase(machine)
    given = next((phase for phase in base.phase if phase.action == step.action), None)
    if given is None or given.time is None:
        step = replace(step, time=np.inf)
    if "supply.voltage" in columns and (given is None or given.voltage is None):
        step = replace(step, voltage=columns["supply.voltage"])
    if "supply.current_limit" in columns and (given is None or given.current_limit is None):
        step = replace(step, current_limit=columns["supply.current_limit"])
    return step


# --- single values


def _loaded(plain: Machine, base: Inputs, machine: Machine, columns: dict[str, Any]) -> Machine:
    """Another mass or guide friction: weight, friction, the rope's stretch at the start, and its
    damping."""
    line, own = plain.line, base.load
    body = load.make_body(
        columns.get("load.mass", own.mass),
        own.slope,
        own.slope_friction,
        columns.get("load.guide_friction", own.guide_friction),
        base.settings.gravity,
        rope_mass=plain.body.rope_mass,
        rope_mass_per_length=line.mass_per_length,
        falls=line.falls,
    )
    left, free_rope = plain.reach - plain.start_travel, plain.free_rope
    if np.any(np.asarray(plain.start_travel) > 0):
        hang = load.pull_needed(body, left) / line.falls
        free_rope = rope.unstretched_length(line, rope.span(line, left), hang)
    heavier = np.sqrt(load.inertia(body) / load.inertia(machine.body))
    line = replace(line, damping=line.damping * heavier)
    return replace(plain, body=body, free_rope=free_rope, line=line)


def _with_efficiency(plain: Machine, base: Inputs, stage_path: str, values: Any) -> Machine:
    """Another efficiency of a stage, with the reverse one that follows where none is given."""
    stage = value_at(base, stage_path)
    reverse = reverse_of(values) if stage.reverse_efficiency is None else stage.reverse_efficiency
    at = {mesh.element for mesh in plain.meshes if mesh.path == stage_path}

    def changed(chain: Any) -> Any:
        elements = tuple(
            replace(e, forward=values, reverse=reverse) if i in at else e
            for i, e in enumerate(chain.elements)
        )
        return replace(chain, elements=elements)

    chain = changed(plain.chain)
    same = plain.braked_chain is plain.chain
    return replace(plain, chain=chain, braked_chain=chain if same else changed(plain.braked_chain))
