"""Results of the sizing studies for machines: one JSON document each, and the candidates as CSV, in SI."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from winchsim.inputs import Inputs
from winchsim.report.csv_out import cell
from winchsim.report.json_out import finding_facts
from winchsim.report.json_text import document
from winchsim.report.si_keys import key
from winchsim.slow import End, Hold, Lifts
from winchsim.studies.drum import DrumStudy
from winchsim.studies.gears import GearStudy
from winchsim.studies.heaviest import HeaviestStudy
from winchsim.studies.motors import MotorStudy
from winchsim.studies.voltage import VoltageStudy
from winchsim.verdict.candidates import Band, Edge, Judged
from winchsim.verdict.cautions import cautions
from winchsim.verdict.choice import Choice
from winchsim.verdict.crosscheck import FullRun

Facts = dict[str, Any]

_UNITS: Mapping[str, str] = {
    "lift_time": "s", "take_up_time": "s", "spin_up_time": "s", "height": "m", "last_speed": "m/s", "stall_margin_cold": "",
    "stall_margin_hot": "", "least_margin": "", "standstill_current": "A", "first_current": "A", "last_current": "A",
    "peak_current": "A", "mean_current": "A", "last_voltage": "V", "lowest_voltage": "V", "winding_end": "°C", "case_end": "°C",
    "peak_winding": "°C", "over_limit": "", "charge": "C", "energy_in": "J", "peak_tension": "N", "factor": "", "weakest": "",
    "factor_over_required": "", "short_link": "", "stall_factor": "", "stall_weakest": "", "hold_margin": "N·m", "layers": "",
    "last_pull": "N", "time_constant": "s", "bounce_period": "s", "in_range": "",
}  # fmt: skip
"""Unit of every field of a slow lift that is given out, in that order."""


def lift_facts(lifts: Lifts, index: int) -> Facts:
    """One slow lift as plain data."""
    facts: Facts = {"end": End(int(lifts.end[index])).name.lower()}
    for name, unit in _UNITS.items():
        facts[key(name, unit)] = getattr(lifts, name)[index : index + 1].tolist()[0]
    facts["holding"] = Hold(int(lifts.holding[index])).name.lower() if lifts.lifted[index] else None
    return facts


def candidate_facts(judged: Judged, index: int, problems: Mapping[int, str]) -> Facts:
    """How one candidate stands, and its slow lift.

    Parameters
    ----------
    judged : Judged
    index : int
        Place of the candidate.
    problems : Mapping of int to str
        Why candidates cannot be built, by place.
    """
    head: Facts = {
        "works": bool(judged.works[index]),
        "keeps_every_limit": bool(judged.keeps_every_limit[index]),
        "room": float(judged.room[index]),
        "nearest_limit": judged.limits[judged.nearest_limit[index]].name,
        "reason": problems.get(index) or judged.reason(index),
    }
    return head | lift_facts(judged.lifts, index)


def run_facts(run: FullRun, value: Any) -> Facts:
    """One full run beside the quasi-static model."""
    return {
        "value": value,
        "quasi_static_lift_time_s": run.slow_time,
        "full_lift_time_s": run.full_time,
        "difference": run.difference,
        "in_range": run.in_range,
        "sound": run.sound,
        "held": run.held,
        "sentence": run.sentence,
    }


def drum_rows(study: DrumStudy) -> list[Facts]:
    """Every diameter tried."""
    return _rows(study.choice, "diameter", "m", lambda i: {"bend_ratio": float(study.bend_ratios[i])})


def motor_rows(study: MotorStudy) -> list[Facts]:
    """Every count tried."""
    return _rows(study.choice, "count", "")


def voltage_rows(study: VoltageStudy) -> list[Facts]:
    """Every voltage tried."""
    return _rows(study.choice, "voltage", "V")


def gear_rows(study: GearStudy) -> list[Facts]:
    """Every change tried."""
    return _rows(
        study.choice, "ratio", "", lambda i: {"change": study.options[i].words, "kind": study.options[i].kind}
    )  # fmt: skip


def heaviest_rows(study: HeaviestStudy) -> list[Facts]:
    """Every load tried."""
    return [
        {"mass_kg": float(study.masses[i]), **candidate_facts(study.judged, i, {})} for i in range(len(study.masses))
    ]  # fmt: skip


def _rows(choice: Choice, name: str, unit: str, more: Callable[[int], Facts] | None = None) -> list[Facts]:
    return [
        {key(name, unit): choice.values[i].item(), **(more(i) if more else {}),
         **candidate_facts(choice.judged, i, choice.variants.problems)}
        for i in range(len(choice.values))
    ]  # fmt: skip


def drum_json(study: DrumStudy, digest: str | None = None) -> str:
    """JSON text of a drum study."""
    return _choice_json(
        study, study.choice, drum_rows(study), digest, "diameter", "m",
        holds_up_to_m=study.holds_up_to, can_be_bought=study.stock,
    )  # fmt: skip


def motor_json(study: MotorStudy, digest: str | None = None) -> str:
    """JSON text of a study of the number of motors."""
    return _choice_json(study, study.choice, motor_rows(study), digest, "count", "", group=study.group)


def voltage_json(study: VoltageStudy, digest: str | None = None) -> str:
    """JSON text of a study of the supply's voltage."""
    return _choice_json(study, study.choice, voltage_rows(study), digest, "voltage", "V", nominal_voltage_v=study.nominal)


def gear_json(study: GearStudy, digest: str | None = None) -> str:
    """JSON text of a study of the gears."""
    take = study.choice.recommended
    return _choice_json(
        study, study.choice, gear_rows(study), digest, "ratio", "", change=None if take is None else study.options[take].words
    )


def heaviest_json(study: HeaviestStudy, digest: str | None = None) -> str:
    """JSON text of a study of the load."""
    return document(
        digest=digest, verdict=study.sentence, findings=[finding_facts(f) for f in study.findings],
        cautions=cautions(study.machine), rows=heaviest_rows(study),
        works_up_to_kg=study.works_up_to, keeps_every_limit_up_to_kg=study.keeps_every_limit_up_to,
        limits=[{"limit": r.name, "hard": r.hard, "mass_kg": r.mass, "beyond": r.reason or None} for r in study.reaches],
        most_power={"mass_kg": study.power_mass, "power_w": study.power, "speed_m_s": study.power_speed},
        full_runs=[run_facts(run, float(study.masses[run.index])) for run in study.runs],
        largest_difference=study.largest_difference, required=_required(study),
    )  # fmt: skip


def _choice_json(study: Any, choice: Choice, rows: list[Facts], digest: str | None, name: str, unit: str, **more: Any) -> str:
    take = choice.recommended
    return document(
        digest=digest, verdict=study.sentence, findings=[finding_facts(f) for f in choice.findings],
        cautions=cautions(study.machine), rows=rows,
        recommended=None if take is None else {key(name, unit): choice.values[take].item(), "reason": study.reason},
        confirmed=choice.good, band=_band(choice.band, name, unit), other_bands=choice.other_bands,
        full_runs=[run_facts(run, choice.values[run.index].item()) for run in choice.runs],
        largest_difference=choice.largest_difference, required=_required(study), **more,
    )  # fmt: skip


def _required(study: Any) -> Facts:
    return {"margin": study.wanted.margin, "target_time_s": study.wanted.target_time}


def _band(band: Band | None, name: str, unit: str) -> Facts | None:
    if band is None:
        return None

    def edge(end: Edge) -> Facts:
        return {key(name, unit): end.value, key(f"next_{name}", unit): end.beyond, "limit": end.limit or None,
                "reason": end.reason or None}  # fmt: skip

    return {"low": edge(band.low), "high": edge(band.high)}


def rows_csv(rows: Sequence[Facts], inputs: Inputs, digest: str | None = None) -> str:
    """Rows as CSV text, one column a key; empty where there is no number.

    Parameters
    ----------
    rows : sequence of dict
        All with the same keys.
    inputs : Inputs
        Names the scenario in the first line.
    digest : str, optional
        SHA-256 of the scenario.
    """
    text = io.StringIO()
    title = " ".join(inputs.title.split())
    text.write(f"# {title or 'winchsim'}{f', scenario {digest[:12]}' if digest else ''}\n")
    writer = csv.writer(text, lineterminator="\n")
    if rows:
        writer.writerow(rows[0])
        writer.writerows([[cell(value) for value in row.values()] for row in rows])
    return text.getvalue()
