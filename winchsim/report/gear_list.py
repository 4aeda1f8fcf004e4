"""The gears to print: how many of each, and what to print them by."""

from collections.abc import Iterator
from typing import Any

from winchsim.inputs import Inputs, Stage
from winchsim.model.reductions import module_of, pinion_material_name
from winchsim.physics.gears import contact
from winchsim.quantity_text import csv_text, in_unit

UNITS = {
    "gear": "",
    "count": "",
    "teeth": "",
    "module": "mm",
    "profile_shift": "",
    "pressure_angle": "deg",
    "width": "mm",
    "bore": "mm",
    "walls": "",
    "infill": "%",
    "print_direction": "",
    "material": "",
    "centre_distance": "mm",
}
"""Columns of the list, with their units."""


def gears_to_print(inputs: Inputs) -> list[dict[str, Any]]:
    """Printed gears, in SI, equal ones together.

    Parameters
    ----------
    inputs : Inputs

    Returns
    -------
    list of dict
        By the names of `UNITS`. None: solid (walls, infill), not known (bore of a pinion on a
        motor), or said at the pinion (centre distance of the pair). [SI]
    """
    found: dict[tuple[Any, ...], dict[str, Any]] = {}
    for row in _gears(inputs):
        if inputs.materials[row["material"]].family == "printed polymer":
            kind = tuple(value for name, value in row.items() if name != "count")
            found.setdefault(kind, row | {"count": 0})["count"] += row["count"]
    return list(found.values())


def _gears(inputs: Inputs) -> Iterator[dict[str, Any]]:
    shaft: float | None = None
    for number, stage in enumerate(inputs.stage, start=1):
        for turn in range(stage.repeat):
            at_motors = number == 1 and turn == 0
            if stage.kind == "spur":
                groups = [(g.pinion or stage.pinion, g.count) for g in inputs.motors]
                name = f"stage {number} {'motor ' * at_motors}pinion"
                for teeth, count in groups if at_motors else [(stage.pinion, 1)]:
                    pair = contact(
                        teeth or 0,
                        stage.gear or 0,
                        module=module_of(stage) or 0.0,
                        shift1=stage.pinion_shift,
                        shift2=stage.gear_shift,
                        pressure_angle=stage.pressure_angle,
                    )
                    yield _gear(stage, name) | {
                        "count": count,
                        "teeth": teeth or 0,
                        "profile_shift": stage.pinion_shift,
                        "width": stage.pinion_width or stage.width,
                        "bore": shaft,
                        "material": pinion_material_name(stage),
                        "centre_distance": pair.centre_distance,
                    }
                yield _gear(stage, f"stage {number} gear")
            shaft = stage.shaft_diameter


def _gear(stage: Stage, name: str) -> dict[str, Any]:
    return {
        "gear": name,
        "count": 1,
        "teeth": stage.gear,
        "module": module_of(stage),
        "profile_shift": stage.gear_shift,
        "pressure_angle": stage.pressure_angle,
        "width": stage.width,
        "bore": stage.gear_bore or None,
        "walls": stage.walls,
        "infill": stage.infill,
        "print_direction": stage.print_direction,
        "material": stage.material,
        "centre_distance": None,
    }


def gear_csv(rows: list[dict[str, Any]]) -> str:
    """The list as CSV, in millimetres, degrees and per cent, with the unit in each head."""
    tails = {"mm": "_mm", "deg": "_deg", "%": "_percent"}
    heads = (name + tails.get(unit, "") for name, unit in UNITS.items())
    return csv_text(
        heads,
        (
            [
                in_unit(row[name], unit) if unit and row[name] is not None else row[name]
                for name, unit in UNITS.items()
            ]
            for row in rows
        ),
    )
