"""Pictures of the sizing studies: what they draw is what the study says, with names, limits and the band."""

from __future__ import annotations

import numpy as np
import pytest

from winchsim.report.figures.look import COLUMN, SLIDE
from winchsim.report.figures.save import image
from winchsim.report.figures.sizing import drum_figure, gear_figure, heaviest_figure, motor_figure, voltage_figure
from winchsim.slow import Hold
from winchsim.studies.drum import study_drum
from winchsim.studies.gears import study_gears
from winchsim.studies.heaviest import study_heaviest
from winchsim.studies.motors import study_motors
from winchsim.studies.voltage import study_voltage

CASES = {
    "drum": (study_drum, drum_figure, "Drum diameter (mm)"),
    "motors": (study_motors, motor_figure, "Motors"),
    "voltage": (study_voltage, voltage_figure, "Supply voltage (V)"),
    "gears": (study_gears, gear_figure, "Ratio, motor to drum"),
    "heaviest": (study_heaviest, heaviest_figure, "Load (kg)"),
}

LABELS = ["Lift time (s)", "Motor torque / needed", "Strength / load", "Supply current (A)"]


@pytest.fixture(scope="module")
def studies(scenario):
    return {name: study(scenario) for name, (study, _, _) in CASES.items()}


@pytest.fixture(params=CASES)
def case(request, studies):
    """Study, its picture, and the name of its axis."""
    _, draw, name = CASES[request.param]
    return studies[request.param], draw(studies[request.param], COLUMN), name


def test_four_panels_over_one_named_axis(case, see):
    _, figure, name = case
    panels = see.panels(figure)
    assert [axes.get_ylabel() for axes in panels] == LABELS
    assert panels[-1].get_xlabel() == name
    assert len({axes.get_xlim() for axes in panels}) == 1


def test_nothing_leaves_the_picture(studies, see):
    for name, (_, draw, _) in CASES.items():
        for look in (COLUMN, SLIDE):
            assert see.texts_beyond(draw(studies[name], look)) == []


def test_lines_are_the_numbers_of_the_study(studies, see):
    study = studies["drum"]
    time, margin, strength, current = see.panels(drum_figure(study, COLUMN))
    lifts = study.choice.lifts
    (line,) = see.labelled(time, "lift time")
    x, y = see.drawn(line)
    np.testing.assert_allclose(x, study.diameters[lifts.lifted] * 1000)
    np.testing.assert_allclose(y, lifts.lift_time[lifts.lifted])
    for axes, label, values in (
        (margin, "cold", lifts.stall_margin_cold), (margin, "windings at limit", lifts.stall_margin_hot),
        (strength, "weakest link", lifts.factor), (strength, "over required factor", lifts.factor_over_required),
        (current, "standstill", lifts.standstill_current),
    ):  # fmt: skip
        (line,) = see.labelled(axes, label)
        np.testing.assert_allclose(see.drawn(line)[1], values)


def test_limits_are_drawn_and_named(case, see):
    _, figure, _ = case
    _, margin, strength, _ = see.panels(figure)
    levels = sorted(line.get_ydata()[0] for line in see.labelled(margin, "_limit"))
    assert levels == [1.0, 1.2]
    assert [line.get_ydata()[0] for line in see.labelled(strength, "_limit")] == [1.0]
    words = {text.get_text() for text in margin.texts}
    assert any("1.2 required" in word for word in words)


def test_full_runs_are_open_marks_on_the_line(case, see):
    study, figure, _ = case
    (marks,) = see.labelled(see.panels(figure)[0], "run in full")
    runs = study.runs if hasattr(study, "runs") else study.choice.runs
    times = [run.full_time for run in runs if run.full_time is not None]
    assert sorted(marks.get_ydata()) == sorted(times)
    assert marks.get_markerfacecolor() == "white"


def test_the_recommended_one_is_marked_in_every_panel(case, see):
    _, figure, _ = case
    places = [line.get_xdata()[0] for axes in see.panels(figure) for line in see.labelled(axes, "_best")]
    assert len(places) == 4 and len(set(places)) == 1


def test_what_does_not_work_is_hatched(studies, see):
    study = studies["drum"]
    time = see.panels(drum_figure(study, COLUMN))[0]
    spans = [patch for patch in time.patches if patch.get_label() == "_does not work"]
    assert spans and all(patch.get_hatch() for patch in spans)
    edge = study.choice.band.high
    assert any(edge.value * 1000 <= patch.get_xy()[0] <= edge.beyond * 1000 for patch in spans)


def test_what_holds_is_drawn_at_the_foot(studies, see):
    study = studies["drum"]
    (line,) = see.labelled(see.panels(drum_figure(study, COLUMN))[0], "_holds")
    holds = study.choice.lifts.lifted & (study.choice.lifts.holding == Hold.HOLDS)
    np.testing.assert_allclose(see.drawn(line)[0], study.diameters[holds] * 1000)


def test_inches_and_pounds_on_request(studies, see):
    assert see.panels(drum_figure(studies["drum"], COLUMN, us=True))[-1].get_xlabel() == "Drum diameter (in)"
    assert see.panels(heaviest_figure(studies["heaviest"], COLUMN, us=True))[-1].get_xlabel() == "Load (lb)"


def test_equal_studies_give_equal_bytes(studies):
    first, second = (image(drum_figure(studies["drum"], COLUMN), "svg", COLUMN, "abc") for _ in range(2))
    assert first == second and b"Drum diameter (mm)" in first


def test_a_study_in_which_nothing_works_can_be_drawn(scenario, see):
    from winchsim.inputs import with_value

    study = study_drum(with_value(scenario, "load.mass", 500.0))
    figure = drum_figure(study, COLUMN)
    assert study.choice.recommended is None and see.texts_beyond(figure) == []
    assert not see.labelled(see.panels(figure)[0], "_best")
