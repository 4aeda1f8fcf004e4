"""One value of a scenario changed from Python, written as in the file or given in SI."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from winchsim.errors import Code, DomainError, Fault, InputError, UnknownPathError
from winchsim.inputs import Inputs, check, may_be_none, spec_at, value_at, with_value
from winchsim.scenario.tables import name_faults, with_tables
from winchsim.scenario.values import read_value


def changed(inputs: Inputs, path: str, value: Any) -> Inputs:
    """Scenario with one value changed, checked like the file itself.

    Parameters
    ----------
    inputs : Inputs
        Left as it is.
    path : str
        Such as ``load.mass`` or ``stage.3.walls``.
    value : object
        Text with a unit as in the file (``"30 kg"``), or a number in SI (°C for temperatures).

    Returns
    -------
    Inputs

    Raises
    ------
    InputError
        The path is unknown, the value cannot be read or is out of bounds, or it contradicts the rest of the scenario.
    """
    try:
        spec = spec_at(inputs, path)
        head, _, key = path.rpartition(".")
        if value is None and not may_be_none(type(value_at(inputs, head) if head else inputs), key):
            raise DomainError(path, value, "a value")
        if isinstance(value, str) and spec.kind in ("quantity", "number"):
            value = read_value(spec, value)
        new = with_value(inputs, path, value)
        new = with_tables(new) if path.startswith("material.") else new
    except DomainError as error:
        code = Code.UNKNOWN_KEY if isinstance(error, UnknownPathError) else Code.OUT_OF_BOUNDS
        raise InputError((Fault(str(error), path, got=str(error.value), expected=error.expected, code=code),)) from error
    except InputError as error:
        raise InputError(tuple(replace(fault, key=path) for fault in error.faults)) from error
    faults = [replace(fault, code=Code.CONTRADICTION) for fault in check(new)] + list(name_faults(new))
    if faults:
        raise InputError(tuple(faults))
    return new
