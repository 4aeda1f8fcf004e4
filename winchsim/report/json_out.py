"""The result of a lift as one JSON document, in SI with the unit in a key or beside its value."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy
import scipy

from winchsim.assessment.kinds import Assessment, Caution, Status
from winchsim.errors import TrustError
from winchsim.quantity_text import PRINTED_UNITS, keyed
from winchsim.report.document import FigureRef
from winchsim.report.json_text import document, error_facts, facts
from winchsim.report.render.options import sentence_text, sentences
from winchsim.report.words.advice import caution, snag as snag_words
from winchsim.report.words.details import idle_keys, inputs_as_used, notes
from winchsim.report.words.outcome import outcome
from winchsim.scenario.read import Scenario
from winchsim.simulation import ENERGY_LIMIT, EnergyBalance, Record
from winchsim.studies.further_runs import Series, SnagStudy

_SNAG_UNITS = {
    "current_limit": "A",
    "broke": "",
    "factor": "",
    "weakest": "",
    "peak_tension": "N",
    "reached": "",
}


def lift_json(
    found: Assessment,
    scenario: Scenario,
    record: Record,
    overrides: tuple[str, ...] = (),
    *,
    snag: SnagStudy | None = None,
    series: Series | None = None,
) -> str:
    """JSON text of a lift.

    Parameters
    ----------
    found : Assessment
    scenario : Scenario
    record : Record
        That was assessed.
    overrides : tuple of str
        Options that changed the scenario.
    snag : SnagStudy, optional
        What a simulated snag showed.
    series : Series, optional
        A series of such lifts.
    """
    machine, sentence = record.machine, sentence_text(outcome(found, snag, series))
    return document(
        digest=scenario.digest,
        verdict=sentence,
        findings=found.findings,
        cautions=[sentence_text(caution(kind, found)) for kind in Caution],
        rows=found.parts,
        lives=found.lives,
        error=None if found.trusted else error_facts(TrustError(sentence, "")),
        meta_more={
            "tolerances": {"relative": record.relative_tolerance, "energy": ENERGY_LIMIT},
            "numpy": numpy.__version__,
            "scipy": scipy.__version__,
        },
        command="lift",
        overrides=overrides,
        status=Status.FAILS if series and series.fails else found.status,
        counts=found.counts,
        target=found.target,
        held=found.held,
        checks=found.checks,
        readings=found.readings,
        jam=found.jam,
        snag=None if snag is None else _snag(snag),
        series=series,
        actions=found.actions,
        drop={
            "height_m": found.drop_height,
            "speed_m_s": found.drop_speed,
            "energy_j": found.drop_energy,
        },
        ratio=[group.ratio for group in machine.groups],
        inputs=_inputs(scenario, found),
        assumed=found.assumed,
        events=event_facts(record),
        energy=energy_facts(record.energy),
        notes=sentences((*idle_keys(scenario.inputs), *notes(scenario.inputs, machine))),
    )


def curves_json(
    scenarios: Sequence[Scenario],
    found: Sequence[Assessment],
    figures: Sequence[FigureRef],
    paths: Sequence[str],
    differences: Sequence[Mapping[str, Any]],
) -> str:
    """JSON text of figures: the files, what they show, and the answer for each scenario."""
    answers = [
        {
            "file": s.name,
            "scenario_hash": s.digest,
            "status": a.status,
            "verdict": sentence_text(outcome(a)),
        }
        for s, a in zip(scenarios, found, strict=True)
    ]
    cautions = [sentence_text(caution(kind, each)) for each in found for kind in Caution]
    return document(
        digest=scenarios[0].digest if len(scenarios) == 1 else None,
        verdict=" ".join(str(answer["verdict"]) for answer in answers),
        findings=[finding for each in found for finding in each.findings],
        cautions=list(dict.fromkeys(cautions)),
        rows=[{"file": path} for path in paths],
        figures=[{"name": w.name, "heading": w.heading, "caption": w.caption} for w in figures],
        scenarios=answers,
        differences=differences,
    )


def _snag(found: SnagStudy) -> dict[str, Any]:
    runs = {
        "as_built": found.as_built,
        "without_current_limit": found.without_limit,
        "safe": found.safe,
    }
    return {
        "sentence": sentence_text(snag_words(found)),
        "height_m": found.height,
        "no_limit": found.no_limit,
        **{name: run and keyed(_SNAG_UNITS, run) for name, run in runs.items()},
    }


def _inputs(scenario: Scenario, found: Assessment) -> list[dict[str, Any]]:
    """Every input as used: value in the SI unit `unit`, and what it rests on."""
    return [
        {
            "path": path,
            "value": value,
            "unit": PRINTED_UNITS[spec.unit].si,
            "basis": basis,
            **{name: getattr(row, name, None) for name in ("low", "high", "source")},
        }
        for path, value, spec, basis, row in inputs_as_used(scenario.inputs, found.assumed)
    ]


def event_facts(record: Record) -> list[dict[str, Any]]:
    """The events of a run as plain data."""
    return [facts(event) | {"event": event.event.name.lower()} for event in record.events]


def energy_facts(balance: EnergyBalance) -> dict[str, Any]:
    """The energy balance as plain data."""
    return {
        "source_j": balance.source,
        "spent": [{"kind": kind, "energy_j": energy} for kind, energy in balance.spent.items()],
        "stored": [
            {"kind": kind, "before_j": balance.stored_before[kind], "after_j": after}
            for kind, after in balance.stored_after.items()
        ],
        "residual_j": balance.residual,
        "scale_j": balance.scale,
        "error": balance.error,
        "closes": balance.closes,
    }
