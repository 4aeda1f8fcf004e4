"""What a scenario may contain: checked dataclasses in SI, each value declared once.

The reader, the key reference, CSV headers, axis labels, the page and the report take a value's
unit, bounds, default and meaning from the declarations here. Temperatures are in °C, everything
else is in SI units.

A path names one value: ``motors.1.count``, ``stage.3.walls``, counted from 1 at the motors. It is
the same in a file, in ``--set``, in errors, tolerances, remedies and JSON.
"""

from winchsim.inputs.checks import check, misplaced
from winchsim.inputs.drum_rope_load import (
    LEAST_ROOM,
    ROOM_SHARE,
    ROOM_TEXT,
    USUAL_ROOM,
    Brake,
    Drum,
    Edge,
    Load,
    Pawl,
    Rope,
    Sheave,
)
from winchsim.inputs.motors import Gearbox, MotorGroup, MotorPoint
from winchsim.inputs.paths import (
    REMOVED,
    SELECTORS,
    idle,
    in_force,
    is_number,
    spec_at,
    specs,
    value_at,
    walk,
    with_value,
    with_values,
    without_numbers,
)
from winchsim.inputs.scenario import (
    GROUPS,
    LIMIT_PER_ESTIMATE,
    LIMIT_TEXT,
    SHORTEST_LIMIT,
    Factors,
    Inputs,
    OwnMaterial,
    PartDrum,
    PartGear,
    PartMotor,
    PartRope,
    Parts,
    Phase,
    Settings,
    Tolerance,
)
from winchsim.inputs.sheet import SheetRow
from winchsim.inputs.spec import Spec, bounds, out_of_bounds
from winchsim.inputs.supply import Controller, Supply
from winchsim.inputs.train import DRAG_RANGE, DRAG_TEXT, Stage

__all__ = [
    "DRAG_RANGE",
    "DRAG_TEXT",
    "GROUPS",
    "LEAST_ROOM",
    "LIMIT_PER_ESTIMATE",
    "LIMIT_TEXT",
    "REMOVED",
    "ROOM_SHARE",
    "ROOM_TEXT",
    "SELECTORS",
    "SHORTEST_LIMIT",
    "USUAL_ROOM",
    "Brake",
    "Controller",
    "Drum",
    "Edge",
    "Factors",
    "Gearbox",
    "Inputs",
    "Load",
    "MotorGroup",
    "MotorPoint",
    "OwnMaterial",
    "PartDrum",
    "PartGear",
    "PartMotor",
    "PartRope",
    "Parts",
    "Pawl",
    "Phase",
    "Rope",
    "Settings",
    "Sheave",
    "SheetRow",
    "Spec",
    "Stage",
    "Supply",
    "Tolerance",
    "bounds",
    "check",
    "idle",
    "in_force",
    "is_number",
    "misplaced",
    "out_of_bounds",
    "spec_at",
    "specs",
    "value_at",
    "walk",
    "with_value",
    "with_values",
    "without_numbers",
]
