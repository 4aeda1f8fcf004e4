"""JSON Schema of the documents that ``--json`` prints, made from the classes of their parts.

A number that is not finite is null. Within one format number (``meta.format``) keys may be added
and lists of words may grow; a key that goes, or changes its meaning or unit, raises the number.
"""

import dataclasses
import types
import typing
from collections.abc import Mapping, Sequence
from enum import Enum
from typing import Any, TypeAlias

from winchsim.assessment import kinds
from winchsim.report.json_text import FAULT, FORMAT, KEYS, facts

MAY_CHANGE = (
    "All numbers are in SI (temperatures in degrees Celsius), null where not finite. Within one "
    "meta.format keys may be added and lists of words may grow, also between versions. A key that "
    "goes, or changes its meaning or unit, raises meta.format."
)
_PLAIN = {
    str: "string",
    bool: "boolean",
    int: "integer",
    type(None): "null",
    float: ["number", "null"],
}
Text: TypeAlias = str | None
Row: TypeAlias = dict[str, Any]

_ERROR = {"code": str, "message": str, "file": Text, "line": int | None, "key": Text}
_COMMON = {
    "meta": {"format": int, "version": str, "scenario_hash": Text, "random_seed": int | None},
    "verdict": Text,
    "findings": list[Any],
    "cautions": list[str],
    "rows": list[Row],
}
_SIZING = {
    "command": str,
    "path": str,
    "unit": str,
    "recommended": Row | None,
    "status": kinds.Status | None,
    "checks": list[kinds.Check],
    "meets_every_limit": list[Any],
    "no_check_fails": list[Any],
    "thin_for_all": list[kinds.CheckKey],
    "limits": list[Row],
    "nearest": Row,
    "full_runs": list[Row],
    "largest_difference": float | None,
    "wanted": Row,
    "most_power": Row | None,
}

DOCUMENTS: dict[str, dict[str, Any]] = {
    "lift": {
        "findings": list[kinds.Finding],
        "rows": list[kinds.PartRow],
        "lives": list[kinds.ToothLife],
        "command": str,
        "overrides": list[str],
        "status": kinds.Status,
        "counts": Mapping[kinds.Status, int],
        "target": kinds.Target,
        "held": kinds.Holding,
        "checks": list[kinds.Check],
        "readings": list[kinds.Reading],
        "jam": kinds.Jam | None,
        "snag": Row | None,
        "series": Row | None,
        "actions": list[kinds.Action],
        "drop": {"height_m": float, "speed_m_s": float, "energy_j": float},
        "ratio": list[float],
        "inputs": [
            {
                "path": str,
                "value": Any,
                "unit": str,
                "basis": str,
                "low": float | None,
                "high": float | None,
                "source": Text,
            }
        ],
        "assumed": list[kinds.AssumedInput],
        "events": [
            {
                "event": str,
                "time_s": float,
                "height_m": float,
                "about": Any,
                "value": float | None,
                "energy_j": float | None,
            }
        ],
        "energy": {
            "source_j": float,
            "spent": [{"kind": str, "energy_j": float}],
            "stored": [{"kind": str, "before_j": float, "after_j": float}],
            "residual_j": float,
            "scale_j": float,
            "error": float,
            "closes": bool,
        },
        "notes": list[str],
    },
    **dict.fromkeys(("drum", "gears", "motors", "voltage", "heaviest"), _SIZING),
    "choose": {
        "command": str,
        "tried": int,
        "possible": int,
        "no_check_fails": int,
        "fastest": bool,
        "centre_distances_m": list[list[float]],
        "checks": list[kinds.Check],
    },
    "sweep": {"command": str, "base": list[Row], "simulated": bool},
    "ladder": {"command": str, "status": kinds.Status, "lowering": list[str], "stop": list[str]},
    "spread": {
        "command": str,
        "status": kinds.Status,
        "complete": bool,
        "builds_asked": int,
        "builds": int,
        "not_built": int,
        "simulated": bool,
        "level": float,
        "probabilities": Row,
        "percentiles": Row,
        "motors": list[Row],
    },
    "calibrate": {
        "level": float,
        "parameters": list[Row],
        "correlation": Row,
        "predictions": list[Row],
        "changes": list[Row],
        "notes": list[Any],
        "files": list[str],
    },
    "why": {
        "command": str,
        "row": int,
        "end": kinds.End,
        "part": Text,
        "capacity": list[float] | None,
    },
    "curves": {"figures": list[Row], "scenarios": list[Row], "differences": list[Row]},
    "error": {
        "error": {**_ERROR, "faults": ([{**dict.fromkeys(FAULT, Text), "line": int | None}], None)}
    },
}
"""Parts of the document of each command besides those that all have; ``error`` is that of any
command which ends with one."""


def schema(command: str) -> dict[str, Any]:
    """JSON Schema of a command's document, as plain data.

    Parameters
    ----------
    command : str
        One of `DOCUMENTS`.
    """
    named: dict[str, Any] = {}
    found = _schema(_COMMON | DOCUMENTS[command], named)
    found["properties"]["meta"]["additionalProperties"] = True
    found["properties"]["meta"]["properties"]["format"] = {"const": FORMAT}
    found["additionalProperties"] = command != "lift"
    if command == "lift":
        found["properties"]["error"] = _schema(_ERROR, named)
    return {
        "$schema": "https://json-schema.org/draft/2020-12/schema",
        "title": f"winchsim {command} --json, format {FORMAT}",
        "description": MAY_CHANGE,
        **found,
        "$defs": named,
    }


def _schema(hint: Any, named: dict[str, Any]) -> dict[str, Any]:
    """Schema of a type, or of an object given by the types of its keys; classes go to `named`."""
    origin, inside = typing.get_origin(hint), typing.get_args(hint)
    match hint:
        case list():
            return {"type": "array", "items": _schema(hint[0], named)}
        case dict():
            required = [key for key, each in hint.items() if not isinstance(each, tuple)]
            given = {k: each if k in required else each[0] for k, each in hint.items()}
            keys = {k: _schema(each, named) for k, each in given.items()}
            return {"type": "object", "properties": keys, "required": required}
        case type() if dataclasses.is_dataclass(hint):
            if hint.__name__ not in named:
                named[hint.__name__] = {}
                types_of, renamed = typing.get_type_hints(hint), KEYS.get(hint.__name__, {})
                names = (field.name for field in dataclasses.fields(hint))
                found = {renamed.get(name, name): types_of[name] for name in names}
                named[hint.__name__] = _schema(found, named) | {"additionalProperties": False}
            return {"$ref": f"#/$defs/{hint.__name__}"}
        case type() if issubclass(hint, Enum):
            return {"enum": [facts(member) for member in hint]}
        case _ if origin in (typing.Union, types.UnionType):
            return {"anyOf": [_schema(each, named) for each in inside]}
        case _ if origin in (dict, Mapping):
            return {"type": "object", "additionalProperties": _schema(inside[1], named)}
        case _ if origin in (list, tuple, Sequence):
            return {"type": "array", "items": _schema(inside[0], named)}
    return {"type": _PLAIN[hint]} if hint in _PLAIN else {}
