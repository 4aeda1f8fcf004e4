"""The tables that a scenario's names refer to: those that come with winchsim, and the scenario's own materials over them."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from types import MappingProxyType
from typing import Any

from winchsim.errors import Code, Fault, did_you_mean
from winchsim.inputs import Inputs, OwnMaterial, walk
from winchsim.scenario.materials_table import load_friction_pairs, load_materials, load_ropes
from winchsim.strength.materials import GIVEN, FrictionPair, Material, Origin, own_material, sourced_values


def with_tables(inputs: Inputs) -> Inputs:
    """Scenario with its tables of materials, ropes and friction pairs filled in.

    Parameters
    ----------
    inputs : Inputs
        Own materials replace those of the same name; their friction stands before the pairs of the table.

    Returns
    -------
    Inputs
    """
    materials, pairs = load_materials(), []
    for own in inputs.material:
        materials[own.name] = own_material(own.name, own.family, _values(own), own.fatigue_source or "")  # type: ignore[arg-type]
        if own.friction is not None:
            origins = MappingProxyType({"friction": Origin(GIVEN)})
            pairs.append(FrictionPair(own.name, own.name, False, own.friction, origins=origins))
    return replace(
        inputs,
        materials=MappingProxyType(materials),
        ropes=MappingProxyType(load_ropes()),
        friction_pairs=(*pairs, *load_friction_pairs()),
    )


def _values(own: OwnMaterial) -> dict[str, float]:
    """Numbers that a user gives of a material, by their names in the table of materials."""
    found = {key: getattr(own, key) for key in sourced_values(Material)}
    return {key: value for key, value in found.items() if value is not None}


def name_faults(inputs: Inputs) -> list[Fault]:
    """Names in a scenario that its tables do not hold, and own materials named twice.

    Parameters
    ----------
    inputs : Inputs
        With its tables filled in.

    Returns
    -------
    list of Fault
    """
    faults = [
        _unknown(path, name, getattr(inputs, spec.names), spec.names.removesuffix("s"))
        for path, name, spec in walk(inputs)
        if spec.names and name is not None and name not in getattr(inputs, spec.names)
    ]
    seen: set[str] = set()
    for number, own in enumerate(inputs.material, start=1):
        if own.name in seen:
            message = f'"{own.name}" is described twice'
            faults.append(Fault(message, f"material.{number}.name", expected="each name once", code=Code.CONTRADICTION))
        seen.add(own.name)
    return faults


def _unknown(path: str, name: str, table: Mapping[str, Any], word: str) -> Fault:
    hint = did_you_mean(name, table)
    if word == "material":
        hint = hint or "describe it in a [[material]] table"
    return Fault(f'no {word} "{name[:60]}"', path, got=f'"{name[:60]}"', expected="one of: " + ", ".join(table),
                 hint=hint, code=Code.UNKNOWN_NAME)  # fmt: skip
