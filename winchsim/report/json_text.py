"""The JSON documents that every command can print: one object, SI numbers, no NaN."""

import dataclasses
import json
import math
from collections.abc import Mapping, Sequence
from enum import Enum
from typing import Any

from winchsim.errors import InputError, OutputError, WinchsimError
from winchsim.version import __version__

FORMAT = 1  # 1: meta, verdict, findings, cautions, rows, error
"""Number of the format of the documents; its history stands beside it."""

_PLACE = {"time": "time_s", "height": "height_m"}

KEYS: dict[str, dict[str, str]] = {
    "Target": {**_PLACE, "mass": "mass_kg", "final_height": "final_height_m"},
    "PartRow": _PLACE,
    "Finding": _PLACE,
    "RecordedEvent": {**_PLACE, "target": "about", "energy": "energy_j"},
    "Action": {"lift_time": "lift_time_s"},
    "Jam": {
        "current": "current_a",
        "unlimited_current": "unlimited_current_a",
        "needed_current": "needed_current_a",
        "limit": "current_limit_a",
        "tension": "tension_n",
        "static_tension": "static_tension_n",
        "speed": "speed_m_s",
    },
    "Power": {"mass": "mass_kg", "power": "power_w", "speed": "speed_m_s"},
    "Series": {
        "pause": "pause_s",
        "winding_limit": "winding_limit_c",
        "charge_left": "charge_left_c",
    },
    "SeriesLift": {
        "time": "time_s",
        "winding_start": "winding_start_c",
        "winding": "winding_c",
        "case": "case_c",
        "charge": "charge_c",
    },
}
"""Keys with a unit, by name of the class and of the attribute."""

FAULT = ("code", "file", "line", "key", "message", "got", "expected", "hint")
"""What is printed of a fault of an input."""


def document(
    *,
    digest: str | None = None,
    random_seed: int | None = None,
    verdict: str | None = None,
    findings: Sequence[Any] = (),
    cautions: Sequence[Any] = (),
    rows: Sequence[Any] = (),
    error: Any = None,
    meta_more: Mapping[str, Any] | None = None,
    **more: Any,
) -> str:
    """Text of one JSON document.

    Parameters
    ----------
    digest : str or None
        SHA-256 of the scenario.
    random_seed : int or None
        Seed of whatever was drawn at random.
    verdict, findings, cautions, rows, error
        The parts that every document has; `error` is left out when None.
    meta_more : Mapping of str to object, optional
        Further entries of ``meta``: tolerances, versions of libraries.
    **more
        Further parts of one command (``summary``, ``events``, ...), after the common ones.

    Returns
    -------
    str
        Indented, keys in the order given, with a line end. NaN and infinities are null.
    """
    parts = {
        "meta": {
            "format": FORMAT,
            "version": __version__,
            "scenario_hash": digest,
            "random_seed": random_seed,
            **(meta_more or {}),
        },
        "verdict": verdict,
        "findings": findings,
        "cautions": cautions,
        "rows": rows,
        **more,
        **({} if error is None else {"error": error}),
    }
    return json.dumps(facts(parts), indent=2, ensure_ascii=False, allow_nan=False) + "\n"


def error_facts(error: WinchsimError) -> dict[str, Any]:
    """An error as plain data; `file`, `line` and `key` are those of its first fault."""
    facts: dict[str, Any] = {
        "code": error.code,
        "message": str(error),
        "file": None,
        "line": None,
        "key": None,
    }
    if isinstance(error, OutputError):
        facts |= {"file": error.path, "hint": error.hint}
    if isinstance(error, InputError):
        faults = [{name: getattr(each, name) or None for name in FAULT} for each in error.faults]
        facts |= {name: faults[0][name] for name in FAULT[:4]} | {"faults": faults}
    return facts


def facts(value: Any) -> Any:
    """Value made of what JSON knows: dataclasses become objects, arrays and sets lists, enums their
    value, and what is not finite null."""
    match value:
        case Enum():
            return facts(value.value)
        case str() | bool() | int() | None:
            return value
        case float():
            return float(value) if math.isfinite(value) else None
        case Mapping():
            return {str(facts(key)): facts(item) for key, item in value.items()}
        case Sequence():
            return [facts(item) for item in value]
        case set() | frozenset():
            return facts(sorted(value))
    if dataclasses.is_dataclass(value):
        keys, fields = KEYS.get(type(value).__name__, {}), dataclasses.fields(value)
        return {keys.get(f.name, f.name): facts(getattr(value, f.name)) for f in fields}
    if hasattr(value, "tolist"):
        return facts(value.tolist())
    raise TypeError(f"{type(value).__name__} does not go into JSON")
