"""Verdicts and reports of random winches: always a sentence, never a crash, a NaN or a line too wide."""

from __future__ import annotations

import json
import warnings

import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from winchsim.errors import WinchsimError
from winchsim.report.csv_out import record_csv
from winchsim.report.json_out import lift_json
from winchsim.report.text import lift_text
from winchsim.simulation import simulate
from winchsim.verdict.finding import Severity
from winchsim.verdict.judge import judge

PARTS = st.fixed_dictionaries(
    {},
    optional={
        "load": st.fixed_dictionaries(
            {"mass": st.floats(0.5, 60.0), "height": st.floats(0.02, 0.4)},
            optional={
                "snag_height": st.floats(0.01, 0.3),
                "top_stop": st.floats(0.01, 0.3),
                "guide_friction": st.floats(0.0, 80.0),
            },
        ),
        "rope": st.fixed_dictionaries({"breaking_force": st.floats(50.0, 1e4)}),
        "drum": st.fixed_dictionaries({"width": st.floats(0.006, 0.1)}),
        "supply": st.fixed_dictionaries({"voltage": st.floats(1.0, 12.0), "current_limit": st.floats(0.3, 5.0)}),
        "settings": st.fixed_dictionaries(
            {"watch": st.just(0.5), "stall_watch": st.just(0.5)}
        ),
    },
)


@given(PARTS, st.booleans())
@settings(max_examples=40, deadline=None, derandomize=True)
def test_every_run_is_told_in_full(small, parts, us):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            record = simulate(small(**parts))
        except WinchsimError:
            assume(False)
        verdict = judge(record, remedies=False)
    assert verdict.sentence.endswith(".") and "nan" not in verdict.sentence and "None" not in verdict.sentence
    assert verdict.safe is all(finding.severity is not Severity.DANGER for finding in verdict.findings)
    if verdict.passes:
        assert verdict.lifted and record.outcome.ok
    if verdict.held:
        assert record["height"][-1] > 0.0
    text = lift_text(record, verdict, us=us)
    assert max(map(len, text.split("\n"))) <= 100
    document = json.loads(lift_json(record, verdict), parse_constant=lambda name: pytest.fail(name))
    assert document["verdict"] == verdict.sentence
    assert len(record_csv(record).splitlines()) == len(record.time) + 2
