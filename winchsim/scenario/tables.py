"""The tables that a scenario's names refer to: those that come with winchsim, and the scenario's
own materials over them."""

from collections import ChainMap
from collections.abc import Sequence
from types import MappingProxyType
from typing import Any

from winchsim.errors import Code, Fault, did_you_mean
from winchsim.frozen import replace
from winchsim.inputs import Inputs, Spec
from winchsim.scenario.materials_table import load_friction_pairs, load_materials, load_ropes
from winchsim.strength.materials import (
    GIVEN,
    FrictionPair,
    Material,
    Origin,
    own_material,
    sourced_values,
)


def with_tables(inputs: Inputs) -> Inputs:
    """Scenario with its tables of materials, ropes and friction pairs filled in.

    Parameters
    ----------
    inputs : Inputs
        Own materials replace those of the same name; their friction stands before the pairs of the
        table.

    Returns
    -------
    Inputs
    """
    table: Any = load_materials()
    materials, pairs = ChainMap({}, table), []
    for own in inputs.material:
        family: Any = own.family
        given = {key: getattr(own, key) for key in sourced_values(Material)}
        known = {key: value for key, value in given.items() if value is not None}
        materials[own.name] = own_material(own.name, family, known, own.fatigue_source or "")
        if own.friction is not None:
            origins = MappingProxyType({"friction": Origin(GIVEN)})
            pairs.append(FrictionPair(own.name, own.name, False, own.friction, origins=origins))
    return replace(
        inputs,
        materials=MappingProxyType(materials),
        ropes=MappingProxyType(load_ropes()),
        friction_pairs=(*pairs, *load_friction_pairs()),
    )


def unknown_name(spec: Spec, name: str, known: Sequence[str]) -> Fault:
    """Fault of a name that is not in the table of materials or ropes."""
    word = spec.names.removesuffix("s")
    own = "describe it in a [[material]] table" if word == "material" else ""
    return Fault(
        f'no {word} "{name[:60]}"',
        got=f'"{name[:60]}"',
        expected="one of: " + ", ".join(known),
        hint=did_you_mean(name, known) or own,
        code=Code.UNKNOWN_NAME,
    )
