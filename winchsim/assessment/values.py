"""An assessment as plain values, in SI with the unit in every key: the shape of the JSON output."""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Mapping, Sequence
from enum import Enum
from typing import Any

from winchsim.assessment.kinds import Action, Assessment, Check, Finding
from winchsim.inputs import Inputs, walk
from winchsim.physics.chain import drum_ratios
from winchsim.quantity_text import PRINTED_UNITS
from winchsim.simulation import Record
from winchsim.version import __version__

UNITS = {
    **dict.fromkeys(("time", "lift_time", "duration", "raising_time", "watched", "time_limit"), "s"),
    **dict.fromkeys(("time_to_limit",), "s"),
    **dict.fromkeys(("height", "final_height", "from_height", "to_height", "let_down"), "m"),
    **dict.fromkeys(("speed", "landing_speed"), "m/s"),
    **dict.fromkeys(("tension", "static_tension", "hanging", "pull_low", "pull_high"), "N"),
    **dict.fromkeys(("current", "unlimited_current", "needed_current", "current_limit", "inrush"), "A"),
    **dict.fromkeys(("energy", "landing_energy"), "J"),
    **dict.fromkeys(("voltage", "nominal"), "V"),
    **dict.fromkeys(("charge", "charge_capacity"), "C"),
    **dict.fromkeys(("flank", "root", "flank_limit", "root_limit"), "°C"),
    **dict.fromkeys(("winding_peak", "winding_limit"), "°C"),
    "drum_speed": "rad/s",
    "mass": "kg",
    "power": "W",
    "rate": "Hz",
}
"""SI unit of a field by its name; others are ratios, counts, or carry a unit beside them."""


def as_values(
    found: Assessment,
    record: Record,
    *,
    command: str = "",
    overrides: Sequence[str] = (),
    digest: str | None = None,
) -> dict[str, Any]:
    """An assessment with all inputs as used, its events and its energy, ready for JSON.

    Parameters
    ----------
    found : Assessment
    record : Record
        That it was made of.
    command : str
        As it was called.
    overrides : sequence of str
        Values that were set on top of the file.
    digest : str, optional
        SHA-256 of the file.

    Returns
    -------
    dict
        Numbers that are infinite are the text ``inf``; what has no value is None.
    """
    m = record.machine
    return {
        "version": __version__,
        "command": command,
        "overrides": list(overrides),
        "file_sha256": digest,
        "inputs": [] if record.inputs is None else _inputs(record.inputs, found),
        "ratio": _plain(drum_ratios(m.chain)[0] * max(g.ratio for g in m.chain.groups)),
        "status": found.status.value,
        "exit_code": found.exit_code,
        "trusted": found.trusted,
        "counts": {status.value: count for status, count in found.counts.items()},
        "target": _fields(found.target),
        "held_by": found.held.value,
        "checks": [check_values(check) for check in found.checks],
        "readings": [_with_unit(reading, reading.unit) for reading in found.readings],
        "parts": [_with_unit(row, row.unit) for row in found.parts],
        "lives": [_fields(life) for life in found.lives],
        "jam": None if found.jam is None else _jam(found),
        "actions": [action_values(action) for action in found.actions],
        "causes": [_fields(cause) for cause in found.causes],
        "findings": [finding_values(finding) for finding in found.findings],
        "events": [_event(event) for event in record.events],
        "energy": _energy(record),
        "drop_energy_J": found.drop_energy,
        "drop_speed_m_per_s": found.drop_speed,
        "drop_height_m": found.drop_height,
        "cautions": [caution.value for caution in found.cautions],
    }


def check_values(check: Check) -> dict[str, Any]:
    """A check as plain values.

    Parameters
    ----------
    check : Check
    """
    return _with_unit(check, check.unit)


def action_values(action: Action) -> dict[str, Any]:
    """An action as plain values: its changes, and its checks before and after.

    Parameters
    ----------
    action : Action
    """
    effects = [
        {"before": check_values(effect.before), "after": check_values(effect.after)}
        for effect in action.effects
    ]
    changes = [_fields(change) | {"unit": _si(change.unit)} for change in action.changes]
    return _fields(action) | {"changes": changes, "effects": effects}


def finding_values(finding: Finding) -> dict[str, Any]:
    """A finding as plain values.

    Parameters
    ----------
    finding : Finding
    """
    values, unit = dict(finding.values), finding.values.get("unit")
    units = dict.fromkeys(_OF_PART, unit) if unit is not None else {}
    return _fields(finding) | {"values": {_key(k, units.get(k)): _plain(v) for k, v in values.items()}}


def _inputs(inputs: Inputs, found: Assessment) -> list[dict[str, Any]]:
    """Every value as used: given ones, and assumed ones with range and source."""
    assumed = {row.path: row for row in found.assumed}
    rows = []
    for path, value, spec in walk(inputs):
        if value is None or path in assumed or dataclasses.is_dataclass(value):
            continue
        source = "given" if path in inputs.given else "default"
        rows.append({"path": path, "value": _plain(value), "unit": _si(spec.unit), "source": source})
    for row in found.assumed:
        rows.append(_fields(row) | {"unit": _si(row.unit)})
    return [row | {"given": row["path"] in inputs.given} for row in rows]


def _si(unit: str) -> str:
    """SI unit in which a value declared in another one is kept."""
    kept = PRINTED_UNITS[unit].si
    return unit if kept is None else kept


def _key(name: str, unit: str | None = None) -> str:
    tail = PRINTED_UNITS[_si(UNITS.get(name, "") if unit is None else unit)].tail
    return f"{name}_{tail}" if tail else name


def _jam(found: Assessment) -> dict[str, Any]:
    assert found.jam is not None
    parts = [_with_unit(part, part.unit) for part in found.jam.parts]
    return _fields(found.jam, limit="A") | {"parts": parts}


def _event(event: Any) -> dict[str, Any]:
    return _fields(event)


def _energy(record: Record) -> dict[str, Any]:
    energy = record.energy
    return {
        "source_J": energy.source,
        "spent_J": {str(_plain(key)): value for key, value in energy.spent.items()},
        "stored_before_J": {str(_plain(key)): v for key, v in energy.stored_before.items()},
        "stored_after_J": {str(_plain(key)): v for key, v in energy.stored_after.items()},
        "residual_J": energy.residual,
        "error": energy.error,
    }


_MEASURED = ("value", "low", "high", "hard", "required")
_OF_PART = ("capacity", "capacity_low", "capacity_high", "demand")


def _with_unit(item: Any, unit: str) -> dict[str, Any]:
    """Fields of a check, reading or part, those in its unit with that unit in their key."""
    names = _OF_PART if hasattr(item, "capacity") else _MEASURED
    found = _fields(item, **dict.fromkeys(names, unit))
    found.pop("unit")
    return found


def _fields(item: Any, **units: str) -> dict[str, Any]:
    """Fields of a dataclass as plain values, under keys with their units."""
    return {
        _key(f.name, units.get(f.name)): _plain(getattr(item, f.name))
        for f in dataclasses.fields(item)
    }


def _plain(value: Any) -> Any:
    """A value as JSON knows it."""
    if isinstance(value, Enum):
        return value.value
    if isinstance(value, float) and not math.isfinite(value):
        return None if math.isnan(value) else "inf" if value > 0 else "-inf"
    if isinstance(value, Mapping):
        return {str(_plain(key)): _plain(item) for key, item in value.items()}
    if isinstance(value, tuple | list | frozenset):
        return [_plain(item) for item in value]
    if dataclasses.is_dataclass(value) and not isinstance(value, type):
        return _fields(value)
    if hasattr(value, "item"):
        return _plain(value.item())
    return value
