"""Assessments and reports of random winches: never a crash, a NaN, or more than one screen."""

import json
import warnings

import pytest
from hypothesis import assume, given, settings, strategies as st

from winchsim import assess, simulate
from winchsim.errors import WinchsimError
from winchsim.report.bundle import record_csv
from winchsim.report.json_out import lift_json
from winchsim.report.lift import build
from winchsim.report.render.options import Options
from winchsim.report.render.text import render_text
from winchsim.scenario.read import Scenario

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
        "supply": st.fixed_dictionaries(
            {"voltage": st.floats(1.0, 12.0), "current_limit": st.floats(0.3, 5.0)}
        ),
        "settings": st.fixed_dictionaries({"watch": st.just(0.5), "stall_watch": st.just(0.5)}),
    },
)


@given(PARTS, st.booleans())
@settings(max_examples=40, deadline=None, derandomize=True)
def test_every_run_has_a_report(small, parts, us):
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            record = simulate(small(**parts))
        except WinchsimError:
            assume(False)
        found = assess(record, actions=False, ranges=False)
    scenario = Scenario(record.inputs, "small.toml", "", "")
    document = build(found, scenario, record)
    for full in (False, True):
        text = render_text(document, Options(us=us, full=full))
        assert "nan" not in text and "None" not in text
        assert full or us or max(map(len, text.split("\n"))) <= 80
        assert full or us or len(text.splitlines()) <= 26
    facts = json.loads(lift_json(found, scenario, record), parse_constant=pytest.fail)
    assert facts["verdict"].split()[0] in text and facts["status"] == found.status
    assert len(record_csv(record).splitlines()) <= len(record.time) + 1
