"""The result of a lift as one JSON document, in SI with the unit in every key."""

from __future__ import annotations

import dataclasses
from typing import Any

import numpy
import scipy

from winchsim.errors import TrustError
from winchsim.model import AtGroup, AtLayer, AtLink, Event, Machine
from winchsim.report.json_text import document, error_facts
from winchsim.report.si_keys import key, keyed, si_unit
from winchsim.simulation import ENERGY_LIMIT, Record, RecordedEvent
from winchsim.verdict.finding import Finding, LinkRow, Remedy, StallPull, Verdict
from winchsim.verdict.life import ToothLife, tooth_lives
from winchsim.verdict.snag import SnagStudy

SUMMARY_UNITS = {
    "lift_time": "s",
    "final_height": "m",
    "highest": "m",
    "steady_speed": "m/s",
    "peak_current": "A",
    "mean_current": "A",
    "peak_tension": "N",
    "peak_winding": "°C",
    "energy_in": "J",
    "efficiency": "",
    "charge": "C",
    "stall_margin_cold": "",
    "stall_margin_hot": "",
}
"""Unit of every number of the summary, in the order of the output."""

_SNAG_UNITS = {
    "current_limit": "A", "broke": "", "factor": "", "weakest": "", "peak_tension": "N", "reached": "",
}  # fmt: skip

_EVENT_UNITS = {
    Event.LANDED: "m/s", Event.TOP_STOP: "m/s", Event.SNAGGED: "m/s", Event.HOT: "°C", Event.STALLED: "N·m",
}  # fmt: skip


def lift_json(record: Record, verdict: Verdict, *, digest: str | None = None, snag: SnagStudy | None = None) -> str:
    """JSON text of a lift.

    Parameters
    ----------
    record : Record
    verdict : Verdict
    digest : str, optional
        SHA-256 of the scenario.
    snag : SnagStudy, optional
        What a simulated snag does, where that was asked for.
    """
    return document(
        digest=digest,
        verdict=verdict.sentence,
        findings=[finding_facts(finding) for finding in verdict.findings],
        cautions=verdict.cautions,
        rows=[row_facts(row) for row in verdict.rows],
        error=None if verdict.trusted else error_facts(TrustError(verdict.sentence, verdict.findings[0].help)),
        meta_more={"tolerances": _tolerances(record), "numpy": numpy.__version__, "scipy": scipy.__version__},
        lifted=verdict.lifted,
        held=verdict.held,
        as_asked=verdict.as_asked,
        safe=verdict.safe,
        summary=keyed(SUMMARY_UNITS, verdict.summary),
        stall_pull=_stall_pull(verdict.stall_pull),
        snag=None if snag is None else _snag(snag),
        life=[_life(life) for life in tooth_lives(record)],
        remedies=[_remedy(remedy) for remedy in verdict.remedies],
        events=[event_facts(record.machine, event) for event in record.events],
        energy=energy_facts(record),
        assumed=assumed_facts(record.machine),
        notes=record.machine.notes,
    )


def _tolerances(record: Record) -> dict[str, Any]:
    return {"relative": record.relative_tolerance, "energy": ENERGY_LIMIT}


def finding_facts(finding: Finding) -> dict[str, Any]:
    """A finding as plain data; `value` and `limit` are in the SI unit `unit`."""
    return {
        "kind": finding.kind.value,
        "severity": finding.severity.value,
        "time_s": finding.time,
        "height_m": finding.height,
        "value": finding.value,
        "limit": finding.limit,
        "unit": finding.unit,
        "about": finding.about or None,
        "sentence": finding.sentence,
        "help": finding.help,
    }


def row_facts(row: LinkRow) -> dict[str, Any]:
    """A row of the weakest-link table as plain data."""
    link, strength = row.link, row.link.strength
    low, high = link.factor_range
    return {
        "link": row.label,
        "kind": link.kind.value,
        "where": link.where,
        key("demand", strength.unit): link.demand,
        key("strength", strength.unit): strength.value,
        key("strength_low", strength.unit): strength.low,
        key("strength_high", strength.unit): strength.high,
        "factor": link.factor,
        "factor_low": low,
        "factor_high": high,
        "required_factor": link.required,
        "state": "breaks" if row.broke else link.state.value,
        "basis": strength.basis,
        "time_s": link.time,
        "height_m": link.height,
        "bound": link.bound,
        "assumed": strength.assumed,
        "notes": strength.notes,
    }


def _stall_pull(found: StallPull) -> dict[str, Any]:
    rows = [
        {
            "link": row.label,
            "kind": row.link.kind.value,
            "where": row.link.where,
            key("demand", row.link.strength.unit): row.link.demand,
            "factor": row.link.factor,
            "factor_without_current_limit": row.unlimited_factor,
        }
        for row in found.rows
    ]
    return {
        "sentence": found.sentence,
        "current_a": found.current,
        "current_without_limit_a": found.unlimited_current,
        "needed_current_a": found.needed_current,
        "safe_current_limit_a": found.safe_current,
        "rows": rows,
    }


def _snag(found: SnagStudy) -> dict[str, Any]:
    runs = {"as_built": found.as_built, "without_current_limit": found.without_limit, "safe": found.safe}
    facts = {name: None if run is None else keyed(_SNAG_UNITS, run) for name, run in runs.items()}
    return {"sentence": found.sentence, "height_m": found.height} | facts


def _life(life: ToothLife) -> dict[str, Any]:
    return {"link": life.label, "cycles_per_lift": life.cycles_per_lift, "lifts_to_fatigue": life.lifts}


def _remedy(remedy: Remedy) -> dict[str, Any]:
    return {
        "finding": remedy.finding.value,
        "path": remedy.path,
        "before": remedy.before,
        "after": remedy.after,
        "unit": si_unit(remedy.unit),
        "confirmed": remedy.confirmed,
        "lift_time_s": remedy.lift_time,
        "sentence": remedy.sentence,
    }


def event_facts(machine: Machine, event: RecordedEvent) -> dict[str, Any]:
    """An event as plain data; `value` is in the SI unit `unit`."""
    match event.target:
        case AtLink(index):
            about: str | None = machine.links[index].label
        case AtGroup(index):
            about = f"motors.{machine.groups[index].number}"
        case AtLayer(index):
            about = f"layer {index + 1}"
        case target:
            about = None if target is None else target.value
    return {
        "event": event.event.name.lower(),
        "time_s": event.time,
        "height_m": event.height,
        "about": about,
        "value": event.value,
        "unit": _EVENT_UNITS.get(event.event, ""),
        "energy_j": event.energy,
    }


def energy_facts(record: Record) -> dict[str, Any]:
    """The energy books as plain data."""
    books = record.energy
    return {
        "source_j": books.source,
        "spent": [{"head": head, "energy_j": energy} for head, energy in books.spent.items()],
        "stored": [
            {"head": head, "before_j": books.stored_before[head], "after_j": after}
            for head, after in books.stored_after.items()
        ],
        "residual_j": books.residual,
        "scale_j": books.scale,
        "error": books.error,
        "closes": books.closes,
    }


def assumed_facts(machine: Machine) -> list[dict[str, Any]]:
    """Everything assumed as plain data; values in the SI unit `unit` (°C for temperatures)."""
    return [dataclasses.asdict(row) | {"unit": si_unit(row.unit)} for row in machine.assumed]
