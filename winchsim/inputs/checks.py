"""Checks that take more than one value of a scenario."""

from __future__ import annotations

from winchsim.errors import Fault
from winchsim.inputs.drum_rope_load import LEAST_ROOM
from winchsim.inputs.motors import MotorGroup
from winchsim.inputs.scenario import Inputs
from winchsim.inputs.train import Stage

_NEEDED = {
    "data sheet": ("no_load_speed", "no_load_current", "stall_torque", "stall_current"),
    "points": ("points",),
    "bench": ("terminal_resistance", "no_load_speed", "no_load_current"),
    "label": ("no_load_speed",),
}


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
    faults: list[Fault] = []
    if not inputs.motors:
        faults.append(Fault("no motors", "motors", expected="at least one [[motors]] table"))
    for index, group in enumerate(inputs.motors, start=1):
        faults += _check_motors(group, f"motors.{index}", inputs)
    for index, stage in enumerate(inputs.stage, start=1):
        faults += _check_stage(stage, f"stage.{index}")
    if all(group.dead >= group.count for group in inputs.motors) and inputs.motors:
        faults.append(
            Fault("every motor is dead", "motors.1.dead", expected="fewer dead motors than motors")
        )
    faults += _check_supply(inputs)
    faults += _check_load(inputs)
    faults += _check_phases(inputs)
    faults += _check_materials(inputs)
    return tuple(faults)


def _check_supply(inputs: Inputs) -> list[Fault]:
    faults, supply = [], inputs.supply
    controller, limit = supply.controller, supply.current_limit
    if controller is not None and controller.limit is not None and limit is not None:
        faults.append(
            Fault("both the supply and its controller limit the current", "supply.controller.limit",
                  expected="one of supply.current_limit and supply.controller.limit")
        )  # fmt: skip
    if supply.over_current != "hold" and limit is None:
        faults.append(
            Fault("the limit is missing", "supply.current_limit",
                  expected=f'current_limit, because over_current = "{supply.over_current}"')
        )  # fmt: skip
    if supply.fold_current is not None and limit is not None and supply.fold_current >= limit:
        faults.append(
            Fault(
                "it does not fold back", "supply.fold_current", expected="less than current_limit"
            )
        )
    return faults


def _check_motors(group: MotorGroup, path: str, inputs: Inputs) -> list[Fault]:
    faults = []
    counted = group.output_turns is not None and group.output_time is not None
    stalled = group.lever_current is not None
    pulled = group.known_by == "bench" and group.lever_force is not None
    replaced = {
        "no_load_speed": counted or (pulled and stalled and group.lever_arm is not None),
        "terminal_resistance": stalled and group.lever_voltage is not None,
    }
    for key in _NEEDED[group.known_by]:
        if replaced.get(key):
            continue
        if not getattr(group, key) and getattr(group, key) != 0:
            faults.append(
                Fault(
                    f"{key} is missing",
                    f"{path}.{key}",
                    expected=f'{key}, because known_by = "{group.known_by}"',
                )
            )
    if group.known_by == "points" and 0 < len(group.points) < 2:
        faults.append(
            Fault("one measured point is too few", f"{path}.points", expected="at least two points")
        )
    idle, stall = group.no_load_current, group.stall_current
    if group.known_by == "data sheet" and idle is not None and stall is not None and idle >= stall:
        faults.append(
                Fault("no-load current is not below the stall current", f"{path}.no_load_current",
                      expected="less than stall_current")
            )  # fmt: skip
    if group.dead > group.count:
        faults.append(
            Fault("more dead motors than motors", f"{path}.dead", expected=f"at most {group.count}")
        )
    first = inputs.stage[0] if inputs.stage else None
    if group.pinion is not None and (first is None or first.kind != "spur"):
        faults.append(
            Fault(
                "a pinion of its own needs a spur gear as first stage",
                f"{path}.pinion",
                expected="no pinion here",
            )
        )
    return faults


def _check_stage(stage: Stage, path: str) -> list[Fault]:
    faults = []
    if stage.kind == "spur":
        for key in ("pinion", "gear", "width"):
            if getattr(stage, key) is None:
                faults.append(
                    Fault(f"{key} is missing", f"{path}.{key}", expected=f"{key} of a spur stage")
                )
        if (stage.module is None) == (stage.diametral_pitch is None):
            faults.append(
                Fault("give the module or the diametral pitch, one of them", f"{path}.module",
                      expected="module or diametral_pitch")
            )  # fmt: skip
        if stage.ratio is not None:
            faults.append(
                Fault(
                    "a spur stage has its ratio from its teeth",
                    f"{path}.ratio",
                    expected="no ratio here",
                )
            )
    else:
        driver = stage.pinion if stage.kind != "worm" else stage.starts or 1
        if stage.ratio is None and (
            stage.kind in ("planetary", "other") or not (driver and stage.gear)
        ):
            teeth = "gear" if stage.kind == "worm" else "pinion and gear"
            expected = (
                "the ratio" if stage.kind in ("planetary", "other") else f"the ratio, or {teeth}"
            )
            faults.append(Fault("ratio is missing", f"{path}.ratio", expected=expected))
        if stage.kind == "other" and stage.efficiency is None:
            expected = "efficiency of a stage of another kind"
            faults.append(Fault("efficiency is missing", f"{path}.efficiency", expected=expected))
        radial = stage.bearing is not None or stage.bearing_friction is not None
        if stage.kind != "worm" and radial and stage.bearing_efficiency is None:
            message = "the forces on these bearings are known of a spur stage only"
            expected = "bearing_efficiency, or no bearing here"
            faults.append(Fault(message, f"{path}.bearing", expected=expected))
    return faults


def _check_load(inputs: Inputs) -> list[Fault]:
    faults, load = [], inputs.load
    reach = load.height
    if load.drum_height is not None and load.drum_height - reach < LEAST_ROOM:
        faults.append(
            Fault(
                f"less than {1e3 * LEAST_ROOM:g} mm would be left between load and drum at the top",
                "load.drum_height",
                expected=f"at least {reach + LEAST_ROOM:.3f} m for this height",
            )
        )
    if load.top_stop is not None and load.top_stop < load.start_height:
        faults.append(
            Fault(
                "the top stop is below the start",
                "load.top_stop",
                expected="a height above the start",
            )
        )
    if load.snag_height is not None and load.snag_height <= load.start_height:
        faults.append(
            Fault(
                "the snag is below the start",
                "load.snag_height",
                expected="a height above the start",
            )
        )
    if inputs.rope.slack and load.start_height:
        faults.append(
            Fault(
                "a hanging load has no slack rope",
                "rope.slack",
                expected="no slack, or a start on the floor",
            )
        )
    if inputs.drum.width < inputs.rope.diameter:
        faults.append(
            Fault(
                "the drum is narrower than the rope",
                "drum.width",
                expected="at least one rope diameter",
            )
        )
    return faults


def _check_materials(inputs: Inputs) -> list[Fault]:
    faults = []
    for index, own in enumerate(inputs.material, start=1):
        if own.name in [other.name for other in inputs.material[: index - 1]]:
            message = f'"{own.name}" is described twice'
            faults.append(Fault(message, f"material.{index}.name", expected="each name once"))
        keys = ("fatigue_stress", "fatigue_cycles", "fatigue_slope", "fatigue_source")
        missing = [key for key in keys if not getattr(own, key)]
        for key, family in (
            ("yield_strength", "metal"),
            ("across_layers", "printed polymer"),
            ("flexural_strength", "printed polymer"),
        ):
            if getattr(own, key) is not None and own.family != family:
                message = f"{key} is said of a {own.family}"
                faults.append(
                    Fault(
                        message, f"material.{index}.{key}", expected=f'none, or family = "{family}"'
                    )
                )
        if missing and len(missing) < len(keys):
            message = f"{missing[0]} is missing: an S–N line needs stress, cycles, slope and source"
            faults.append(
                Fault(
                    message, f"material.{index}.{missing[0]}", expected="all four of them, or none"
                )
            )
    return faults


def _check_phases(inputs: Inputs) -> list[Fault]:
    faults = []
    for index, phase in enumerate(inputs.phase, start=1):
        path = f"phase.{index}"
        if phase.until == "top" and phase.action != "raise":
            faults.append(
                Fault("only a raise ends at the top", f"{path}.until", expected='"floor" or "time"')
            )
        if phase.until == "time" and phase.time is None:
            faults.append(
                Fault("time is missing", f"{path}.time", expected='a time, because until = "time"')
            )
        if phase.ramp and phase.action in ("off", "short"):
            faults.append(
                Fault(
                    "there is nothing to ramp",
                    f"{path}.ramp",
                    expected="a ramp on raise or lower only",
                )
            )
    return faults
