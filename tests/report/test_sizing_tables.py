"""What the tables of a sizing study say, against each of its builds by itself."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim import assess, simulate
from winchsim.assessment.kinds import CheckKey
from winchsim.inputs import with_value
from winchsim.model import Event, build
from winchsim.report.document import Section, Table
from winchsim.report.render.options import sentence_text
from winchsim.report.sizing import study_document
from winchsim.report.words.sizing import recommendation
from winchsim.report.words.values import CHECKS
from winchsim.scenario.read import Scenario
from winchsim.slow import lift_machine
from winchsim.studies.sizing import size


def tables_of(nodes):
    """The first tables of a document by their names and first columns' heads."""
    found = {}
    for node in nodes:
        if isinstance(node, Section):
            found = tables_of(node.body) | found
        elif isinstance(node, Table):
            found.setdefault((node.name, node.columns[0]), node)
    return found


def test_rows_are_the_builds_that_they_name(small):
    inputs = small()
    study = size(inputs, "drum")
    tables = tables_of(study_document(study, Scenario(inputs, "", "", "")).body)

    def made(cell):
        return with_value(inputs, "drum.diameter", cell.value)

    assert tables["runs", "drum"].rows
    for (drum,), _, lasted, slow, off, end in tables["runs", "drum"].rows:
        top = simulate(made(drum)).first(Event.TOP).time
        assert end == "reached" and lasted.value == pytest.approx(top)
        assert slow.value == pytest.approx(lift_machine(build(made(drum)))["lift_time"])
        assert off.value == pytest.approx(slow.value / lasted.value - 1)
    candidates = tables["candidates", "drum"]
    assert candidates.columns[1:5] == ("time", "hot", "hold", "factor")
    for (drum,), lasted, hot, _, factor, *_ in (candidates.rows[0], candidates.rows[3]):
        own = lift_machine(build(made(drum)))
        assert lasted.value == pytest.approx(own["lift_time"])
        assert hot.value == pytest.approx(own["stall_margin_hot"])
        assert hot.low <= hot.value <= hot.high, "which leave its digits"
        assert factor.value == pytest.approx(own["factor"], rel=0.01)
    met = {column.key: masks for column, *masks in study.limits}[CheckKey.START_COLD]
    row = next(row for row in tables["checks", "check"].rows if row[0].endswith("margin, cold"))
    assert row[4][1].value == study.values[met[0]].max()
    assert row[5][1].value == study.values[met[1]].min()


def test_the_height_reached_is_that_of_the_full_run(small):
    """Also where the quasi-static model says that the load is lifted."""
    inputs = small()
    study, missed = size(inputs, "drum"), assess(simulate(small(load={"mass": 80.0})))
    study = replace(study, runs=(replace(study.confirmation, found=missed),))
    tables = tables_of(study_document(study, Scenario(inputs, "", "", "")).body)
    (row,) = [row for row in tables["checks", "check"].rows if row[0] == "height reached"]
    assert study.sweep.lifted[study.recommended]
    assert row[2].value == missed.check(CheckKey.TARGET).value and row[3].word == "fails"


@pytest.mark.parametrize("efficiency", [0.62, 0.8])
def test_the_check_that_fails_beyond_the_heaviest_load_is_named(small, make_stage, efficiency):
    """Also where it is thin for every load below, as holding by friction is."""
    study = size(small(stage=make_stage(5.0, efficiency, repeat=3)), "heaviest")
    index = study.recommended + int(np.flatnonzero(~study.sweep.sound[study.recommended :])[0])
    failing = [CHECKS[column.key] for column in study.sweep.checks if column.rank[index] == 0]
    after = sentence_text(recommendation(study)).split("a check fails: ")[1]
    assert any(after.startswith(f"{name}.") for name in failing)
