"""The JSON document of a lift: its parts, their units, no NaN."""

from __future__ import annotations

import json
import math
from dataclasses import fields, replace

import pytest

from winchsim.hybrid import Outcome
from winchsim.report.json_out import SUMMARY_UNITS, lift_json
from winchsim.report.si_keys import key
from winchsim.verdict.finding import FindingKind, Summary
from winchsim.verdict.judge import judge


@pytest.fixture(scope="module")
def document(lifted):
    """Document of the small lift."""
    return json.loads(lift_json(*lifted, digest="0" * 64))


def test_the_parts(document):
    assert list(document)[:5] == ["meta", "verdict", "findings", "cautions", "rows"]
    assert {"lifted", "held", "as_asked", "safe", "summary", "events", "energy", "assumed", "remedies", "stall_pull", "notes",
            "life"} <= set(document)  # fmt: skip
    assert "error" not in document


def test_meta_says_with_what_it_was_computed(document):
    meta = document["meta"]
    assert {"format", "version", "scenario_hash", "tolerances", "numpy", "scipy", "random_seed"} == set(meta)
    assert meta["scenario_hash"] == "0" * 64 and meta["format"] == 1


def test_summary_has_every_number_under_its_unit(lifted, document):
    assert list(SUMMARY_UNITS) == [field.name for field in fields(Summary)]
    for name, unit in SUMMARY_UNITS.items():
        assert document["summary"][key(name, unit)] == getattr(lifted[1].summary, name)
    assert {"lift_time_s", "final_height_m", "steady_speed_m_s", "peak_current_a", "peak_tension_n", "peak_winding_c",
            "energy_in_j"} <= set(document["summary"])  # fmt: skip


def test_findings(lifted, document):
    assert len(document["findings"]) == len(lifted[1].findings)
    for row in document["findings"]:
        assert set(row) == {"kind", "severity", "time_s", "height_m", "value", "limit", "unit", "about", "sentence", "help"}
        assert row["kind"] in list(FindingKind) and row["severity"] in ("note", "caution", "danger")


def test_events_in_order_with_their_slugs(lifted, document):
    assert [row["time_s"] for row in document["events"]] == sorted(row["time_s"] for row in document["events"])
    assert [row["event"] for row in document["events"]][:2] == ["phase_starts", "drum_starts"]
    assert document["events"][-1]["event"] == "end"


def test_energy_closes_as_written(document):
    energy = document["energy"]
    gained = sum(row["after_j"] - row["before_j"] for row in energy["stored"])
    residual = energy["source_j"] - sum(row["energy_j"] for row in energy["spent"]) - gained
    assert residual == pytest.approx(energy["residual_j"], abs=1e-9 * energy["scale_j"])
    assert energy["closes"] is True and energy["error"] < 1e-4


def test_rows_are_the_links_worst_first(document):
    factors = [math.inf if row["factor"] is None else row["factor"] for row in document["rows"]]
    assert factors == sorted(factors) and len(factors) >= 2
    knot = next(row for row in document["rows"] if row["kind"] == "rope_knot")
    assert knot["strength_n"] / knot["demand_n"] == pytest.approx(knot["factor"])


def test_assumed_values_are_in_si(lifted, document):
    by_path = {row["path"]: row for row in document["assumed"]}
    for row in lifted[0].machine.assumed:
        assert by_path[row.path]["value"] == row.value
    assert by_path["settings.ambient"]["unit"] == "°C"
    assert not [row for row in document["assumed"] if row["unit"] in ("mm", "g·cm²", "mN·m", "%/K", "MPa")]


def test_nothing_that_is_not_a_number(stuck):
    text = lift_json(*stuck)
    assert "NaN" not in text and "Infinity" not in text
    json.loads(text, parse_constant=lambda name: pytest.fail(name))


def test_remedies(lifted, stuck):
    rows = json.loads(lift_json(*stuck))["remedies"]
    assert rows and {"finding", "path", "before", "after", "unit", "confirmed", "lift_time_s", "sentence"} == set(rows[0])
    assert json.loads(lift_json(*lifted))["remedies"] == []


def test_held_is_null_when_it_was_never_tested(stuck):
    assert json.loads(lift_json(*stuck))["held"] is None


def test_a_run_that_is_not_trusted_is_an_error(lifted):
    record = replace(lifted[0], outcome=Outcome.BUDGET)
    found = json.loads(lift_json(record, judge(record)))
    assert found["error"]["code"] == "W-T01" and found["lifted"] is False
    assert [row["kind"] for row in found["findings"]] == ["no_trust"]


def test_same_record_same_bytes(lifted):
    assert lift_json(*lifted) == lift_json(*lifted)
