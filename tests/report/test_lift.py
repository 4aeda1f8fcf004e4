"""The report of a lift: the same checks, findings and order of sections in every format."""

import json
import re
from dataclasses import replace
from functools import partial

import pytest

from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import (
    ActionKind,
    CheckKey,
    End,
    FindingKind,
    Holding,
    NoLimit,
    ReadingKey,
    ToothLife,
)
from winchsim.inputs import MotorPoint, Stage
from winchsim.report.document import FindingText, Section, Table, Value
from winchsim.report.json_out import lift_json
from winchsim.report.lift import build
from winchsim.report.render.html import render_html
from winchsim.report.render.markdown import render_markdown
from winchsim.report.render.options import Options, sentence_text
from winchsim.report.render.text import render_text
from winchsim.report.words import details
from winchsim.report.words.advice import _ACTIONS, CAUTIONS
from winchsim.report.words.findings import _WORDS
from winchsim.report.words.outcome import HELD
from winchsim.report.words.values import CHECKS, READINGS, source, value
from winchsim.scenario.read import Scenario
from winchsim.simulation import simulate
from winchsim.studies.further_runs import Series, SeriesLift, SnagRun, SnagStudy


@pytest.fixture(scope="module")
def reported(small):
    """Assessment, record and document of a lift whose title and text are hard on every format."""
    inputs = small(title="a <b>title</b> | of `mine` \x1b[2J", load={"mass": 6.0})
    scenario = Scenario(inputs, "odd <name>.toml", "# </pre> ``` <script>", "0" * 64)
    record = simulate(inputs)
    found = assess(record)
    return found, scenario, record, build(found, scenario, record)


def _formats(document):
    return (
        render_text(document, Options(full=True, width=120)),
        re.sub(r"<[^>]*>", " ", render_html(document, Options())),
        render_markdown(document, Options()).replace("\\", ""),
    )


def _squeezed(text):
    return " ".join(text.replace("\N{NO-BREAK SPACE}", " ").split())


def test_every_format_shows_the_same_checks_parts_and_findings(reported):
    found, scenario, record, document = reported
    facts = json.loads(lift_json(found, scenario, record))
    assert [row["key"] for row in facts["checks"]] == [check.key for check in found.checks]
    for text in map(_squeezed, _formats(document)):
        assert [c.key for c in found.checks if CHECKS[c.key] not in text] == []
        assert [caution for caution in CAUTIONS.values() if caution not in text] == []
        assert min(text.lower().count(f" {row['status']} ") for row in facts["checks"]) >= 1
        for finding in next(n.body for n in document.body if isinstance(n, Section)):
            assert isinstance(finding, FindingText) and finding.mark.word in text


def _numbers(table):
    """Numbers of each row, those in sentences too."""
    rows = [[cell if isinstance(cell, tuple) else (cell,) for cell in row] for row in table.rows]
    return [[x.value for cell in row for x in cell if isinstance(x, Value)] for row in rows]


def test_rows_of_details_hold_what_their_heads_say(reported):
    found, _, record, _ = reported
    parts = [[p.demand, p.capacity, p.factor, p.required] for p in found.parts]
    jams = [[p.static, p.dynamic, p.dynamic] for p in found.jam.parts]
    assert parts and _numbers(details.part_table(found.parts)) == parts
    assert jams and _numbers(details.jam_table(found.jam.parts)) == jams
    readings = _numbers(details.reading_table(found.readings))
    assert readings == [[reading.value] * 2 for reading in found.readings]
    sources = [row[-1] for row in details.assumed_table(found).rows]
    assert sources == [source(row.source) for row in found.assumed]
    (total,), *spent = _numbers(details.energy_table(record.energy))
    near = partial(pytest.approx, rel=0.1)  # in two digits
    assert total == near(record.energy.source) and total == near(sum(part for part, _ in spent))
    assert [share for _, share in spent] == [near(part / total) for part, _ in spent]
    moments = _numbers(details.timeline_table(record))
    assert moments == [[time, round(height, 6)] for time, height, _ in details.timeline(record)]
    life = ToothLife("tooth", 7.0, 1e5, 1e4, 1e6)
    assert details.life_table([life]).rows == (("tooth", Value(7.0), "1e4 to 1e6"),)


def test_each_check_has_one_row(reported):
    found, _, _, document = reported
    parts = [each for n in document.body for each in (n.body if isinstance(n, Section) else [n])]
    firsts = [row[0] for table in parts if isinstance(table, Table) for row in table.rows]
    assert [firsts.count(CHECKS[check.key]) for check in found.checks] == [1] * len(found.checks)


def test_json_has_every_input_with_what_it_rests_on(reported):
    found, scenario, record, _ = reported
    facts = json.loads(lift_json(found, scenario, record))
    assert facts["status"] == found.status.value
    assert {row["path"] for row in facts["inputs"]} >= {"load.mass", "supply.voltage"}
    assert all(row["source"] for row in facts["inputs"] if row["basis"] == "assumed")


def test_sections_stand_in_one_order(reported):
    document = reported[3]
    headings = [n.heading for n in document.body if isinstance(n, Section)]
    assert headings.index("Findings") == 0 and headings[-1] == "Cautions"
    for text in (
        render_html(document, Options()),
        render_markdown(document, Options()),
        render_text(document, Options(full=True)),
    ):
        places = [text.rindex(heading) for heading in headings if heading in text]
        assert places == sorted(places) and len(places) >= len(headings) - 1


def test_nothing_of_a_user_is_markup_or_steers_a_terminal(reported):
    document = reported[3]
    page = render_html(document, Options())
    assert "<script" not in page and "<b>title" not in page and "\x1b" not in page
    assert "\x1b" not in render_text(document, Options(full=True))
    assert "<b>" not in render_markdown(document, Options())


def test_details_are_closed_on_the_page_but_for_the_findings(reported):
    page = render_html(reported[3], Options())
    assert page.count("<details open>") == 1 and page.count("<details>") >= 8
    assert page.index("<details open>") < page.index("<details>")


@pytest.mark.parametrize(
    ("broke", "done", "mark", "words"),
    [
        ("rope", 1, "FAILS 4 of 5 lifts", "1 reaches the target; lift 2: stalls. Lifts 6 kg by"),
        ("", 5, "checks", "5 reach the target. Lifts 6 kg by"),
    ],
)
def test_the_answer_says_what_a_snag_and_a_series_came_to(reported, broke, done, mark, words):
    found, scenario, record, _ = reported
    run = SnagRun(2.0, broke, 1.0 if broke else 1.4, "rope", 100.0, True, True)
    snag = SnagStudy(0.3, run, run, None, NoLimit.ROTORS if broke else NoLimit.NOT_NEEDED)
    lifts = (
        SeriesLift(1, End.REACHED, 9.0, 20.0, 60.0, 30.0, 4.0, False),
        SeriesLift(2, End.REACHED if done == 5 else End.STALLED, 9.0, 50.0, 80.0, 40.0, 4.0, False),
    )
    series = Series(5, 60.0, lifts, done, False, 120.0, None, None, None, ())
    options = {"snag": snag, "series": series}
    command = "winchsim lift odd.toml --snag --repeat 5 --pause '1 min' --full"
    document = build(found, scenario, record, command, **options)
    facts = json.loads(lift_json(found, scenario, record, **options))
    words = f"Of 5 lifts in a row {words}"
    assert facts["verdict"].startswith(words)
    snagged = (
        "At a snag at 0.3 m the rope breaks before the motors stall."
        if broke
        else "At a snag at 0.3 m the motors stall and no part breaks; lowest factor 1.4, rope."
    )
    assert snagged in facts["verdict"]
    assert (facts["status"] == "fails") is bool(broke)
    page, text = render_html(document, Options()), render_text(document, Options(width=120))
    for shown in (_squeezed(text), _squeezed(re.sub(r"<[^>]*>", " ", page))):
        head = shown[: shown.index("not rated")]
        assert mark in head.replace("fails", "FAILS") and words in head and snagged in head
        assert "2 lifts in a row the windings reach 80" in shown
    assert text.splitlines()[-1] == f"All details: {command}"
    assert "--repeat 5" in page


def test_what_rounding_leaves_of_a_height_is_none():
    shown = value(-1.3e-18, "m"), value(2e-5, "m"), value(None, "m")
    assert [(each.value, each.unit) for each in shown] == [(0.0, "m"), (2e-5, "mm"), (None, "m")]


def test_every_kind_has_words():
    assert set(CHECKS) == set(CheckKey) and set(READINGS) == set(ReadingKey)
    assert set(_WORDS) == set(FindingKind) and set(HELD) == set(Holding)
    assert set(_ACTIONS) == set(ActionKind)


@pytest.mark.parametrize("end", End)
def test_every_end_has_a_sentence(reported, end):
    from dataclasses import replace

    from winchsim.report.words.outcome import outcome

    found = reported[0]
    for height in (0.0, 0.2):
        target = replace(found.target, end=end, final_height=height, torque_share=0.5, part="rope")
        text = sentence_text(outcome(replace(found, target=target)))
        stays = "Power off:" in text or "stays on the floor" in text
        assert stays or end in (End.NOT_TRUSTED, End.DONE)


@pytest.mark.parametrize("name", ["a{}b.toml", "a{x}.toml"])
def test_a_name_with_braces_is_no_template(small, name):
    inputs = small(title="of {} and {0}")
    record = simulate(inputs)
    document = build(assess(record, actions=False), Scenario(inputs, name, "", ""), record)
    assert name in render_text(document, Options(full=True))


@pytest.mark.parametrize(
    ("torque", "told"),
    [
        (0.3, "leave an efficiency of 30 %, which is low: one of them may be wrong. With a usual"),
        (0.9, None),
        (1.01, None),
        (1.04, "contradict each other: 4 % of the torque is left out."),
    ],
)
def test_data_of_a_motor_that_do_not_fit_together_are_told_at_the_top(small, torque, told):
    """With the effect on the answer, before what to change; rounding is none."""
    (group,) = small().motors
    inputs = small(motors=replace(group, stall_torque=torque * group.stall_torque))
    scenario, record = Scenario(inputs, "motor.toml", "", "0" * 64), simulate(inputs)
    document = build(assess(record, actions=False), scenario, record)
    text = _squeezed(render_text(document, Options(full=False, width=80)))
    assert ("Motor group 1:" in text) is (told is not None)
    if told is not None:
        assert text.index(told) < text.index("check value")
    if torque < 0.5:
        assert "2.8 times as hard" in text, "0.85 of the torque that the speed allows, over 0.30"


@pytest.mark.parametrize(("off", "told"), [(0.95, False), (0.6, True)])
def test_points_that_lie_on_no_line_are_told_at_the_top(small, off, told):
    (group,) = small().motors
    held, free = group.stall_torque, group.no_load_speed
    points = tuple(
        MotorPoint(torque=share * held, speed=speed, current=0.12 + 1.38 * share)
        for share, speed in ((0.0, free), (0.4, 0.6 * free * off), (0.8, 0.2 * free))
    )
    inputs = small(motors=replace(group, known_by="points", points=points))
    scenario, record = Scenario(inputs, "points.toml", "", "0" * 64), simulate(inputs)
    document = build(assess(record, actions=False), scenario, record)
    text = _squeezed(render_text(document, Options(full=False, width=80)))
    assert ("Fitted to 3 points: speed within" in text) is told


def test_what_a_held_train_carries_is_the_least_that_statics_allow(small):
    """A load that hangs from the start and is not raised: without friction its torque on the last
    shaft is that of the rope; friction at rest may take some of it, or add as much."""
    pair = Stage(
        pinion=12, gear=36, module=1e-3, width=8e-3, efficiency=0.5, repeat=2, shaft_diameter=4e-3
    )
    inputs = small(stage=pair, load={"mass": 60.0, "start_height": 0.05})
    scenario, record = Scenario(inputs, "held.toml", "", "0" * 64), simulate(inputs)
    found = assess(record, actions=False)
    rope = 60.0 * 9.80665 * record.machine.layers[0].radius
    (shaft,) = (part for part in found.parts if part.kind == "shaft" and "1st" in part.label)
    assert shaft.bound and shaft.demand < rope / 3
    text = _squeezed(render_text(build(found, scenario, record), Options(full=True, width=200)))
    assert f"{shaft.label} ≥ " in text and f"{shaft.label} ≤ " not in text
