"""Checks that take more than one value of a scenario, as rows: what is wrong, the key to change,
the message, and what is expected there."""

from collections.abc import Iterable, Iterator
from typing import Any

from winchsim.errors import Code, Fault
from winchsim.inputs.drum_rope_load import LEAST_ROOM
from winchsim.inputs.motors import MotorGroup
from winchsim.inputs.paths import Idle
from winchsim.inputs.scenario import Inputs, OwnMaterial, Phase
from winchsim.inputs.supply import Supply
from winchsim.inputs.train import Stage

Contradiction = tuple[object, str, str, str]
"""Whether it is wrong, key within its table, message, what is expected."""

_NEEDED = {
    "data sheet": ("no_load_speed", "no_load_current", "stall_torque", "stall_current"),
    "points": ("points",),
    "bench": ("terminal_resistance", "no_load_speed", "no_load_current"),
    "label": ("no_load_speed",),
}
_FATIGUE = ("fatigue_stress", "fatigue_cycles", "fatigue_slope", "fatigue_source")


def check(inputs: Inputs) -> tuple[Fault, ...]:
    """Everything in a scenario that contradicts something else in it.

    Parameters
    ----------
    inputs : Inputs
        Each value already within its own bounds.

    Returns
    -------
    tuple of Fault
        Empty when the scenario can be built; each with the path of the key to change.
    """
    return tuple(
        Fault(message, f"{table}.{key}".strip("."), expected=expected, code=Code.CONTRADICTION)
        for table, rows in _tables(inputs)
        for is_wrong, key, message, expected in rows
        if is_wrong
    )


def misplaced(row: Idle) -> Fault:
    """Fault of a given value that means nothing with the kind of its table."""
    path, decides, value, words = row
    key, name = (each.rpartition(".")[2] for each in (path, decides))
    *others, last = (f'"{word}"' for word in words)
    wanted = " or ".join(filter(None, (", ".join(others), last)))
    return Fault(
        f'{key} does not apply with {name} = "{value}"',
        path,
        expected=f"no {key} here, or {name} = {wanted}",
        code=Code.CONTRADICTION,
    )


def _tables(inputs: Inputs) -> list[tuple[str, tuple[Contradiction, ...]]]:
    has_spur = bool(inputs.stage) and inputs.stage[0].kind == "spur"
    at_hand = inputs.parts.motors if inputs.parts else ()
    names = [own.name for own in inputs.material]
    return [
        *_numbered("motors", (_motors(group, has_spur) for group in inputs.motors)),
        *_numbered("parts.motors", (_motors(group, True) for group in at_hand)),
        *_numbered("stage", map(_stage, inputs.stage)),
        ("supply", _supply(inputs.supply)),
        ("", _whole(inputs)),
        *_numbered("phase", map(_phase, inputs.phase)),
        *_numbered(
            "material",
            (
                _material(own, own.name in names[:place])
                for place, own in enumerate(inputs.material)
            ),
        ),
    ]


def _numbered(
    name: str, rows: Iterable[tuple[Contradiction, ...]]
) -> Iterator[tuple[str, tuple[Contradiction, ...]]]:
    return ((f"{name}.{number}", each) for number, each in enumerate(rows, start=1))


def _motors(group: MotorGroup, has_spur: bool) -> tuple[Contradiction, ...]:
    counted = group.output_turns is not None and group.output_time is not None
    idle, stall = group.no_load_current, group.stall_current
    above = idle is not None and stall is not None and idle >= stall
    return (
        *_missing_data(group, counted),
        (
            counted and group.no_load_speed is not None,
            "no_load_speed",
            "the free speed is given twice",
            "no_load_speed, or output_turns and output_time",
        ),
        (
            group.known_by == "points" and len(group.points) == 1,
            "points",
            "one measured point is too few",
            "at least two points",
        ),
        (
            group.known_by == "data sheet" and above,
            "no_load_current",
            "no-load current is not below the stall current",
            "less than stall_current",
        ),
        (
            group.dead > group.count,
            "dead",
            "more dead motors than motors",
            f"at most {group.count}",
        ),
        (
            group.pinion is not None and not has_spur,
            "pinion",
            "a pinion of its own needs a spur gear as first stage",
            "no pinion here",
        ),
    )


def _missing_data(group: MotorGroup, counted: bool) -> Iterator[Contradiction]:
    stalled = group.lever_current is not None
    pulled = group.known_by == "bench" and group.lever_force is not None
    replaced = {
        "no_load_speed": counted or (pulled and stalled and group.lever_arm is not None),
        "terminal_resistance": stalled and group.lever_voltage is not None,
    }
    for key in _NEEDED[group.known_by]:
        lacks = _is_absent(getattr(group, key)) and not replaced.get(key)
        yield lacks, key, f"{key} is missing", f'{key}, because known_by = "{group.known_by}"'


def _is_absent(value: Any) -> bool:
    """Whether nothing is given; a number may be numpy's, which compares by elements."""
    return value is None or (isinstance(value, tuple) and not value)


def _stage(stage: Stage) -> tuple[Contradiction, ...]:
    if stage.kind == "spur":
        keys = ("pinion", "gear", "width")
        return (
            *(
                (getattr(stage, key) is None, key, f"{key} is missing", f"{key} of a spur stage")
                for key in keys
            ),
            (
                (stage.module is None) == (stage.diametral_pitch is None),
                "module",
                "give the module or the diametral pitch, one of them",
                "module or diametral_pitch",
            ),
            *_given_twice(stage, "efficiency", "friction", "form_loss"),
        )
    driver = stage.pinion if stage.kind != "worm" else stage.starts or 1
    by_teeth = stage.kind not in ("planetary", "other")
    teeth = "gear" if stage.kind == "worm" else "pinion and gear"
    return (
        (
            stage.ratio is None and not (by_teeth and driver and stage.gear),
            "ratio",
            "ratio is missing",
            f"the ratio, or {teeth}" if by_teeth else "the ratio",
        ),
        (
            stage.kind == "other" and stage.efficiency is None,
            "efficiency",
            "efficiency is missing",
            "efficiency of a stage of another kind",
        ),
    )


def _given_twice(stage: Stage, whole: str, *parts: str) -> Iterator[Contradiction]:
    """Losses that are given beside the efficiency that would contain them."""
    for part in parts:
        both = getattr(stage, whole) is not None and getattr(stage, part) is not None
        yield both, part, f"{part} has no effect beside {whole}", f"{whole}, or {part}"


def _supply(supply: Supply) -> tuple[Contradiction, ...]:
    limit, controller, fold = supply.current_limit, supply.controller, supply.fold_current
    return (
        (
            limit is not None and controller is not None and controller.limit is not None,
            "controller.limit",
            "both the supply and its controller limit the current",
            "one of supply.current_limit and supply.controller.limit",
        ),
        (
            controller is not None
            and controller.limit is None
            and controller.limit_side != "motor",
            "controller.limit_side",
            "limit_side has no effect without a limit",
            "the controller's limit, or no limit_side",
        ),
        (
            supply.over_current != "hold" and limit is None,
            "current_limit",
            "the limit is missing",
            f'current_limit, because over_current = "{supply.over_current}"',
        ),
        (
            supply.over_current == "foldback" and limit and fold and fold >= limit,
            "fold_current",
            "it does not fold back",
            "less than current_limit",
        ),
    )


def _whole(inputs: Inputs) -> tuple[Contradiction, ...]:
    load, motors = inputs.load, inputs.motors
    return (
        (not motors, "motors", "no motors", "at least one [[motors]] table"),
        (
            motors and all(group.dead >= group.count for group in motors),
            "motors.1.dead",
            "every motor is dead",
            "fewer dead motors than motors",
        ),
        (
            load.drum_height is not None and load.drum_height - load.height < LEAST_ROOM,
            "load.drum_height",
            f"less than {1e3 * LEAST_ROOM:g} mm would be left between load and drum at the top",
            f"at least {load.height + LEAST_ROOM:.3f} m for this height",
        ),
        (
            load.top_stop is not None and load.top_stop < load.start_height,
            "load.top_stop",
            "the top stop is below the start",
            "a height above the start",
        ),
        (
            load.snag_height is not None and load.snag_height <= load.start_height,
            "load.snag_height",
            "the snag is below the start",
            "a height above the start",
        ),
        (
            inputs.rope.slack and load.start_height,
            "rope.slack",
            "a hanging load has no slack rope",
            "no slack, or a start on the floor",
        ),
        (
            inputs.drum.width < inputs.rope.diameter,
            "drum.width",
            "the drum is narrower than the rope",
            "at least one rope diameter",
        ),
    )


def _phase(phase: Phase) -> tuple[Contradiction, ...]:
    return (
        (
            phase.until == "top" and phase.action != "raise",
            "until",
            "only a raise ends at the top",
            '"floor" or "time"',
        ),
        (
            phase.until == "time" and phase.time is None,
            "time",
            "time is missing",
            'a time, because until = "time"',
        ),
    )


def _material(own: OwnMaterial, twice: bool) -> tuple[Contradiction, ...]:
    missing = [key for key in _FATIGUE if not getattr(own, key)]
    first = next(iter(missing), "")
    return (
        (twice, "name", f'"{own.name}" is described twice', "each name once"),
        (
            0 < len(missing) < len(_FATIGUE),
            first,
            f"{first} is missing: an S–N line needs stress, cycles, slope and source",
            "all four of them, or none",
        ),
    )
