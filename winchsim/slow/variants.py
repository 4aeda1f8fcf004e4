"""From one scenario and columns of changed values to batches that can be lifted all at once."""

import math
import re
from collections.abc import Collection, Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from winchsim.elementwise import by_value
from winchsim.errors import DomainError, InputError
from winchsim.frozen import dataclass, replace
from winchsim.inputs import Inputs, Stage, out_of_bounds, spec_at, value_at, with_value
from winchsim.inputs.paths import put
from winchsim.model import Machine, build
from winchsim.model.assumptions import Assumptions
from winchsim.model.build import free_speed, places, rebuild, wound_layers
from winchsim.model.estimate import raising_phase
from winchsim.model.links import drum_links, output_shafts, shaft_scale, tooth_of
from winchsim.model.machine import LinkLimit, Mesh, PhaseStep
from winchsim.model.reductions import pinion_material_name
from winchsim.model.train import Train, build_train
from winchsim.physics import load, rope
from winchsim.physics.chain import shaft_ratios
from winchsim.physics.drum import Layer
from winchsim.slow.stacking import Batch, bare, shape_of, stack, unchecked
from winchsim.strength.link import LinkKind
from winchsim.strength.teeth import velocity_factor

_BY_ARRAY = re.compile(
    r"load\.(mass|guide_friction)|drum\.(diameter|width|flange_diameter)"
    r"|supply\.(voltage|resistance|current_limit)"
    r"|motors\.\d+\.(count|winding_start)|stage\.\d+\.efficiency"
)
"""Paths whose values are put in as arrays; every other path is built once for each of its
values."""

_TEETH = re.compile(
    r"stage\.(\d+)\.(pinion|gear|module|width|pinion_width|material|pinion_material)"
)
"""And of these, where the stage is one pair of spur gears."""

Columns = Mapping[str, Sequence[Any] | np.ndarray]
Part = tuple[np.ndarray, Machine, Sequence[Sequence[Layer]]]
"""Variants by their places, one machine of them all, and the layers of each."""


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
        return self._owner(next((i for i in range(self.size) if i not in self.problems), 0))[0]

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
        return _with(*self._owner(index))

    def at(self, path: str) -> np.ndarray:
        """Value of a path in every variant. SI"""
        return np.concatenate(
            [
                np.asarray(columns.get(path, [value_at(inputs, path)] * _size(columns)))
                for inputs, columns in self.families
            ]
        )

    def _owner(self, index: int) -> tuple[Inputs, Mapping[str, np.ndarray], int]:
        """Family of one variant, and its place there."""
        for inputs, columns in self.families:
            if index < _size(columns):
                return inputs, columns, index
            index -= _size(columns)
        raise IndexError(index)


def _size(columns: Mapping[str, Any]) -> int:
    return len(next(iter(columns.values()))) if columns else 1


def _with(inputs: Inputs, columns: Mapping[str, np.ndarray], place: int) -> Inputs:
    """Scenario with one value of each column."""
    for path, values in columns.items():
        value = values[place].item() if isinstance(values[place], np.generic) else values[place]
        if isinstance(value, int | float) and not isinstance(value, bool):
            whole = spec_at(inputs, path).kind == "integer" and value == int(value)
            value = int(value) if whole else float(value)
        inputs = with_value(inputs, path, value)
    return inputs


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
    by_shape: dict[Any, list[Part]] = {}
    kept, size = [], 0
    for inputs, columns in families:
        arrays = {path: np.asarray(values) for path, values in columns.items()}
        count = _size(arrays)
        for path, values in arrays.items():
            if values.shape != (count,) or not count:
                raise DomainError(
                    path, values.shape, f"{max(count, 1)} values, as in the other columns"
                )
        if inputs.phase and all(phase.action != "raise" for phase in inputs.phase):
            wanted = "a programme in which the load is raised"
            raise DomainError("phase", inputs.phase[0].action, wanted)
        own: dict[int, str] = {}
        for shape, (rows, machine, stacks) in _of_scenario(inputs, arrays, own, like):
            by_shape.setdefault(shape, []).append((size + rows, machine, stacks))
        problems |= {size + index: problem for index, problem in own.items()}
        kept.append((inputs, arrays))
        size += count
    batches = []
    for parts in by_shape.values():
        members, machines, layers = zip(*parts, strict=True)
        batches.append((np.concatenate(members), stack(machines, layers)))
    return Variants(tuple(kept), size, tuple(batches), problems)


def _of_scenario(
    inputs: Inputs,
    arrays: Mapping[str, np.ndarray],
    problems: dict[int, str],
    like: Machine | None,
) -> Iterator[tuple[Any, Part]]:
    """Machines of the variants of one scenario with their shapes; those that cannot be built are
    noted."""
    for path, values in arrays.items():
        _note_out_of_bounds(problems, inputs, path, values)
    good = np.array([i for i in range(_size(arrays)) if i not in problems], dtype=int)
    quick = {path: values for path, values in arrays.items() if _is_quick(inputs, path, arrays)}
    teeth = [path for path in quick if _TEETH.fullmatch(path)]
    slow = {path: values for path, values in arrays.items() if path not in quick}
    built = slow | {path: arrays[path] for path in teeth if "material" not in path}
    pending = _alike(list(slow.values()), good)
    while pending:
        members = pending.pop()
        try:
            yield from _family(_with(inputs, built, members[0]), quick, members, problems, like)
        except (DomainError, InputError) as error:
            if teeth and len(members) > 1:  # one of them cannot be built, the others may
                pending += np.array_split(members, 2)
            else:
                problems.update(dict.fromkeys(members.tolist(), _reason(error)))


def _reason(error: DomainError | InputError) -> str:
    if isinstance(error, DomainError):
        return str(error)
    fault = error.faults[0]
    expected = f", expected {fault.expected}" if fault.expected else ""
    return f"{fault.key}: {fault.message}{expected}"


def _note_out_of_bounds(
    problems: dict[int, str], inputs: Inputs, path: str, values: np.ndarray
) -> None:
    spec = spec_at(inputs, path)
    if np.issubdtype(values.dtype, np.number) and np.all(np.isfinite(values)):
        whole = spec.kind != "integer" or np.all(values == np.round(values))
        ends = values.min().item(), values.max().item()
        if whole and not any(out_of_bounds(spec, value) for value in ends):
            return
    for index, value in enumerate(values.tolist()):
        if problem := out_of_bounds(spec, value):
            problems.setdefault(index, f"{path} is {value}; expected {problem}")


def _is_quick(inputs: Inputs, path: str, arrays: Mapping[str, np.ndarray]) -> bool:
    """Whether the values of a path go in as an array, rather than to be built one by one."""
    head, _, key = path.rpartition(".")
    kind = arrays[path].dtype
    if not (np.issubdtype(kind, np.number) or (key.endswith("material") and kind.kind == "U")):
        return False
    if _TEETH.fullmatch(path):
        return _has_free_teeth(inputs, head, arrays)
    if not _BY_ARRAY.fullmatch(path):
        return False
    if key == "count":
        return value_at(inputs, f"{head}.dead") == 0
    if key == "efficiency":  # without one, the stage's bearings come and go with it
        stage, (first, *others) = value_at(inputs, head), inputs.motors
        alone = head != "stage.1" or not (others or first.dead)
        return alone and stage.efficiency is not None and stage.kind != "worm"
    return True


def _has_free_teeth(inputs: Inputs, path: str, arrays: Mapping[str, np.ndarray]) -> bool:
    """Whether the teeth of a stage go in as arrays: nothing but the train depends on them."""
    stage = value_at(inputs, path)
    names = {row.name for row in inputs.materials.values() if row.family == "printed polymer"}
    return (
        stage.kind == "spur"
        and (stage.material in names or names.isdisjoint(arrays.get(f"{path}.material", ())))
        and stage.repeat == 1
        and stage.module is not None
        and all(group.output_turns is None for group in inputs.motors)
        and all(group.pinion is None for group in inputs.motors)
        and all(other.kind != "worm" for other in inputs.stage)
        and "supply.voltage" not in arrays
    )


def _alike(columns: list[np.ndarray], members: np.ndarray) -> list[np.ndarray]:
    """Members that agree in all columns, in the order of their first ones."""
    found: dict[tuple[Any, ...], list[int]] = {}
    for member in members.tolist():
        found.setdefault(tuple(column[member] for column in columns), []).append(member)
    return [np.array(rows) for rows in found.values()]


# --- one family


def _family(
    base: Inputs,
    arrays: Mapping[str, np.ndarray],
    members: np.ndarray,
    problems: dict[int, str],
    like: Machine | None,
) -> Iterator[tuple[Any, Part]]:
    """Machine of the variants that differ by arrays alone; those without a drum that fits are noted
    and left out."""
    machine = build(base, strict=False) if like is None else rebuild(base, like)
    drum = {path[5:]: arrays[path][members] for path in arrays if path.startswith("drum.")}
    drums = (
        _drums(base, drum)
        if drum
        else [(machine.layers, machine.wound_at_start, {})] * len(members)
    )
    problems.update(
        {i: row for i, row in zip(members.tolist(), drums, strict=True) if isinstance(row, str)}
    )
    fits = np.array([not isinstance(row, str) for row in drums])
    if not fits.any():
        return
    rows, own = members[fits], base
    for path, values in arrays.items():
        column = values[rows] if _TEETH.fullmatch(path) else values[rows].astype(float)
        own = put(own, path.split("."), column)
    stacks, starts, bears = zip(*(row for row in drums if not isinstance(row, str)), strict=True)
    made = bare(machine)
    source = replace(made.source, resistance=own.supply.resistance)
    phases = (_raising(own, base, machine, arrays), *made.phases[1:])
    made = replace(made, phases=phases, source=source)
    if any(path.startswith("load.") for path in arrays):
        made = _loaded(made, own, base, machine)
    if any(path.startswith(("drum.", "motors.", "stage.", "supply.voltage")) for path in arrays):
        made = _retrained(made, own, base, machine, arrays)
    if drum:
        links = tuple(
            unchecked(k, bears=np.array([row[k.kind] for row in bears]))
            if k.kind in bears[0]
            else k
            for k in made.links
        )
        made = unchecked(made, wound_at_start=np.array(starts), links=links)
    yield shape_of(machine), (rows, made, stacks)


def _drums(base: Inputs, drum: Mapping[str, np.ndarray]) -> list[Any]:
    """Of each variant the layers, the rope on the drum at the start, and what links of the drum
    bear by kind; or why there is no such drum."""
    found: dict[tuple[float, ...], Any] = {}
    where = places(base, Assumptions())
    sizes = list(zip(*(values.astype(float).tolist() for values in drum.values()), strict=True))
    for size in dict.fromkeys(sizes):
        own = unchecked(base, drum=unchecked(base.drum, **dict(zip(drum, size, strict=True))))
        try:
            layers, at_start = wound_layers(own, where)
            bears = {link.kind: link.bears for link in drum_links(own, layers)}
            found[size] = layers, at_start, bears
        except DomainError as error:
            found[size] = str(error)
    return [found[size] for size in sizes]


def _retrained(
    made: Machine, own: Inputs, base: Inputs, machine: Machine, paths: Collection[str]
) -> Machine:
    """Chain, meshes and their strengths with arrays for teeth, motor counts and the drum: the same
    code as for one winch."""
    units = []
    for unit in machine.units:
        motors = own.motors[unit.number - 1]
        start = unit.winding_start if motors.winding_start is None else motors.winding_start
        count = motors.count - motors.dead if unit.runs else unit.count
        units.append(replace(unit, count=count, winding_start=start))
    train = build_train(replace(base, drum=own.drum, stage=own.stage), units, Assumptions())
    front = shaft_ratios(train.chain)[0]
    live = [
        replace(unit, ratio=mesh.ratio * front)
        for unit, mesh in zip(units, train.chain.groups, strict=True)
        if unit.runs
    ]
    speed, links = free_speed(own, live), []
    more = {
        f"motors.{unit.number}.gearbox": unit.count / old.count
        for unit, old in zip(live, machine.groups, strict=True)
    }
    has_teeth, has_speeds = any(map(_TEETH.fullmatch, paths)), "supply.voltage" in paths
    for link, slow in zip(machine.links, made.links, strict=True):
        bears = slow.bears * more.get(link.where, 1.0)
        if has_teeth or (has_speeds and link.channel == "mesh" and link.scale != 1.0):
            bears = _geared_strength(link, own, train, speed, bears)
        links.append(unchecked(slow, bears=bears))
    return unchecked(
        made,
        chain=train.chain,
        braked_chain=train.braked,
        meshes=train.meshes,
        links=tuple(links),
        groups=tuple(unchecked(unit, fit=None) for unit in live),
    )


def _raising(own: Inputs, base: Inputs, machine: Machine, paths: Collection[str]) -> PhaseStep:
    """The raising phase with arrays of voltage and current limit, and without a time limit that the
    scenario does not give; the time of a raise for a time is none."""
    step = raising_phase(machine)
    given = next((phase for phase in base.phase if phase.action == step.action), None)
    if given and given.until == "time":
        given = unchecked(given, time=None)
    supply = [key for key in ("voltage", "current_limit") if f"supply.{key}" in paths]
    values = {"time": np.inf} | {key: getattr(own.supply, key) for key in supply}
    free = {key: value for key, value in values.items() if getattr(given, key, None) is None}
    return replace(step, **free)


def _loaded(made: Machine, own: Inputs, base: Inputs, machine: Machine) -> Machine:
    """Another mass or guide friction: weight, friction, the rope's stretch at the start, and its
    damping."""
    line = made.line
    body = load.make_body(
        own.load.mass,
        base.load.slope,
        base.load.slope_friction,
        own.load.guide_friction,
        base.settings.gravity,
        rope_mass=made.body.rope_mass,
        rope_mass_per_length=line.mass_per_length,
        falls=line.falls,
    )
    left, free_rope = made.reach - made.start_travel, made.free_rope
    if made.start_travel > 0:
        hang = load.pull_needed(body, left) / line.falls
        free_rope = rope.unstretched_length(line, rope.span(line, left), hang)
    heavier = np.sqrt(load.inertia(body) / load.inertia(machine.body))
    line = replace(line, damping=line.damping * heavier)
    return replace(made, body=body, free_rope=free_rope, line=line)


# --- strengths


def _geared_strength(
    link: LinkLimit, inputs: Inputs, train: Train, drum_speed: Any, otherwise: Any
) -> Any:
    """What a tooth, a gear's body or a shaft bears, or otherwise another part, where teeth, modules
    and widths of spur stages, or the drum's speed without load, are arrays. [N or N·m]"""
    if link.channel == "mesh":
        mesh = train.meshes[link.index]
        stage = value_at(inputs, mesh.path)
        pinion = link.kind is LinkKind.TOOTH_PINION
        name = pinion_material_name(stage) if pinion else stage.material
        metal = by_value(lambda name: float(inputs.materials[name].is_metal), name)
        turns = (
            shaft_ratios(train.chain)[0 if mesh.element is None else mesh.element + 1] * drum_speed
        )
        faster = velocity_factor(turns * mesh.gear_teeth * mesh.module / 2) - 1
        scale = stage.application_factor * (1 + metal * faster)
        return _strength(inputs, mesh, stage, link.kind) / scale
    if link.kind not in (LinkKind.GEAR_BODY, LinkKind.SHAFT):
        return otherwise
    at = link.channel, link.index
    output = next(shaft for shaft in output_shafts(train) if (shaft.channel, shaft.place) == at)
    if link.kind is LinkKind.GEAR_BODY:
        return _strength(inputs, output.mesh, output.reduction.stage, link.kind)
    return link.strength.value / shaft_scale(output.reduction.stage, output.mesh, output.following)


def _strength(inputs: Inputs, mesh: Mesh, stage: Stage, kind: LinkKind) -> Any:
    """Force on a tooth, or torque on a gear's body, that breaks it. [N or N·m]"""

    def of_one(
        pinion: int, gear: int, module: float, width: float, own: float, *names: str
    ) -> float:
        plain = replace(
            stage,
            gear=gear,
            width=width,
            pinion_width=own,
            material=names[0],
            pinion_material=names[1],
        )
        one = replace(mesh, pinion_teeth=pinion, gear_teeth=gear, module=module)
        case = tooth_of(put(inputs, mesh.path.split("."), plain), one, kind)
        if kind is not LinkKind.GEAR_BODY:
            return case.found.value
        return math.inf if case.body is None else case.body_strength.value

    width, names = stage.width, (stage.material, pinion_material_name(stage))
    own = width if stage.pinion_width is None else stage.pinion_width
    return by_value(of_one, mesh.pinion_teeth, mesh.gear_teeth, mesh.module, width, own, *names)
