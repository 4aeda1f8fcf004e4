"""Shapes of a status and a few words for each part: for the server too, so without the
simulation."""

from __future__ import annotations

import math

from winchsim.inputs import Inputs, specs

SIGNS = {"good": "●", "warn": "◐", "bad": "✕", "open": "○"}
"""Shape of a status, so that colour is not alone."""


def group_facts(inputs: Inputs) -> dict[str, str]:
    """A few words for each part of the path of power, by its group."""
    groups = {key: spec.group for key, spec in specs(Inputs).items()}
    ratio = math.prod(stage.speed_ratio() ** stage.repeat for stage in inputs.stage)
    limit = inputs.supply.current_limit
    found = {
        "supply": f"{inputs.supply.voltage:g} V" + ("" if limit is None else f", {limit:g} A"),
        "motors": f"{sum(group.count - group.dead for group in inputs.motors)}",
        "stage": f"{ratio:.3g} : 1",
        "drum": f"{1e3 * inputs.drum.diameter:.3g} mm",
        "rope": f"{1e3 * inputs.rope.diameter:.3g} mm",
        "load": f"{inputs.load.mass:.3g} kg, {inputs.load.height:.3g} m",
    }
    return {groups[key]: text for key, text in found.items()}
