"""Figures of sizing studies and sweeps: their lines are the numbers, and their limits those of the
checks."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.contour import ContourSet
from matplotlib.text import Text

import winchsim
from winchsim.assessment.kinds import CheckKey, End
from winchsim.inputs import with_value
from winchsim.report.figures.catalogue import image
from winchsim.report.figures.look import COLUMN, SLIDE
from winchsim.report.figures.sizing import study_figure, sweep_figure
from winchsim.studies.sizing import size

AXES = {
    "drum": "Drum diameter (mm)",
    "motors": "Motors",
    "voltage": "Supply voltage (V)",
    "gears": "Ratio, motor to drum",
    "heaviest": "Load (kg)",
}


@pytest.fixture(scope="module")
def studies(scenario):
    return {name: size(scenario, name) for name in AXES}


@pytest.mark.parametrize("name", AXES)
def test_panels_over_one_named_axis_with_limits_full_runs_and_the_recommended_one(
    studies, see, name
):
    study = studies[name]
    panels = see.panels(study_figure(study, COLUMN))
    assert panels[-1].get_xlabel() == AXES[name] and len({axes.get_xlim() for axes in panels}) == 1
    levels = sorted(
        line.get_ydata()[0]
        for line in panels[1].get_lines()
        if str(line.get_label()).startswith("limit")
    )
    assert levels == sorted(
        float(study.sweep.check(key).required) for key in (CheckKey.START_COLD, CheckKey.START_HOT)
    )
    places = [line.get_xdata()[0] for axes in panels for line in see.labelled(axes, "_best")]
    assert len(places) == 4 and len(set(places)) == 1
    (marks,) = see.labelled(panels[0], "full run")
    assert sorted(marks.get_ydata()) == sorted(
        run.time for run in study.runs if run.time is not None
    )


@pytest.mark.parametrize("look", [COLUMN, SLIDE])
@pytest.mark.parametrize("name", AXES)
def test_nothing_leaves_the_picture(studies, see, look, name):
    assert see.texts_beyond(study_figure(studies[name], look)) == []


def test_lines_are_the_numbers_of_the_study(studies, see):
    study = studies["drum"]
    time, margin, _, current = see.panels(study_figure(study, COLUMN))
    lifted = np.array([end is End.REACHED for end in study.sweep.ends])
    (line,) = see.labelled(time, "simplified")
    x, y = see.drawn(line)
    np.testing.assert_allclose(x, study.values[lifted] * 1000)
    np.testing.assert_allclose(y, study.sweep.results["lift_time"][lifted])
    for axes, label, values in (
        (margin, "cold", study.sweep.check(CheckKey.START_COLD).value),
        (margin, "hot", study.sweep.check(CheckKey.START_HOT).value),
        (current, "mean", study.sweep.results["mean_current"][lifted]),
    ):
        (line,) = see.labelled(axes, label)
        np.testing.assert_allclose(see.drawn(line)[1], values)


def test_candidates_with_a_failing_check_are_hatched(studies, see):
    study = studies["drum"]
    time = see.panels(study_figure(study, COLUMN))[0]
    (hatched,) = (each for each in time.collections if each.get_label() == "a check fails")
    places = np.concatenate([path.vertices[:, 0] for path in hatched.get_paths()])
    last = np.flatnonzero(study.sweep.sound)[-1]
    ends = study.values[[last, last + 1]] * 1000
    assert hatched.get_hatch() and np.any((ends[0] < places) & (places < ends[1]))


def test_inches_and_pounds_on_request(studies, see):
    assert (
        see.panels(study_figure(studies["drum"], replace(COLUMN, us=True)))[-1].get_xlabel()
        == "Drum diameter (in)"
    )
    assert (
        see.panels(study_figure(studies["heaviest"], replace(COLUMN, us=True)))[-1].get_xlabel()
        == "Load (lb)"
    )


def test_equal_studies_give_equal_bytes(studies):
    first, second = (
        image(study_figure(studies["drum"], COLUMN), "svg", COLUMN, "abc") for _ in range(2)
    )
    assert first == second and b"Drum diameter (mm)" in first


def test_a_study_in_which_every_candidate_fails_can_be_drawn(scenario, see):
    study = size(with_value(scenario, "load.mass", 500.0), "drum")
    figure = study_figure(study, COLUMN)
    assert study.recommended is None and see.texts_beyond(figure) == []
    assert not see.labelled(see.panels(figure)[0], "_best")


def test_one_key_is_drawn_as_curves_and_two_as_a_map_with_limits_as_lines(scenario, see):
    loads = np.linspace(0.3, 3.0, 12) * scenario.load.mass
    one = sweep_figure(winchsim.sweep(scenario, {"load.mass": loads}), COLUMN)
    assert len(see.panels(one)) == 4
    found = winchsim.sweep(scenario, {"drum.diameter": [0.006, 0.01, 0.02], "load.mass": loads})
    figure = sweep_figure(found, COLUMN)
    (axes,) = see.panels(figure)
    assert (axes.get_xlabel(), axes.get_ylabel()) == ("Drum diameter (mm)", "Load (kg)")
    words = [text.get_text() for text in axes.texts]
    assert (
        any("starting torque margin, cold" in word for word in words)
        and see.texts_beyond(figure) == []
    )


def test_the_line_of_a_limit_lies_where_the_check_crosses_it(scenario, see):
    """Between two loads whose margins are on both sides of what is required."""
    loads = np.linspace(0.5, 4.0, 30) * scenario.load.mass
    found = winchsim.sweep(
        scenario, {"drum.diameter": [0.006, 0.02], "load.mass": loads}, ranges=False
    )
    (axes,) = see.panels(sweep_figure(found, COLUMN))
    crossing = np.interp(-1.25, -found.check(CheckKey.START_COLD).value[: len(loads)], loads)
    points = np.concatenate(
        [
            path.vertices
            for drawn in axes.collections
            for path in drawn.get_paths()
            if len(path.vertices)
        ]
    )
    at_left = points[np.isclose(points[:, 0], 6.0)]
    assert np.min(np.abs(at_left[:, 1] - crossing)) < 0.03 * crossing


def test_limits_that_coincide_are_both_seen(scenario, see):
    loads = np.linspace(0.5, 4.0, 12) * scenario.load.mass
    values = {"drum.diameter": [0.006, 0.01, 0.02], "load.mass": loads}
    found = winchsim.sweep(scenario, values, ranges=False)
    one = found.check(CheckKey.START_COLD)
    same = [replace(one, key=key) for key in (CheckKey.START_COLD, CheckKey.START_HOT)]
    figure = sweep_figure(replace(found, checks=tuple(same)), COLUMN)
    (axes,) = see.panels(figure)
    first, second = (each for each in axes.collections if isinstance(each, ContourSet))
    assert first.get_zorder() < second.get_zorder()
    assert first.get_linestyle()[0][1] is None and second.get_linestyle()[0][1]
    numbers = [text for text in figure.findobj(Text) if text.get_text() in ("1", "2")]
    boxes = [text.get_window_extent() for text in numbers]
    assert len(boxes) == 2 and not boxes[0].overlaps(boxes[1])


def test_a_sweep_of_words_can_be_drawn(scenario, see):
    found = winchsim.sweep(scenario, {"rope.material": ["polyester", "nylon"]})
    assert see.texts_beyond(sweep_figure(found, COLUMN)) == []


def test_a_sweep_in_full_can_be_drawn(scenario, see):
    """Its limits are those of each build."""
    loads = [scenario.load.mass, 0.5 * scenario.load.mass]
    found = winchsim.sweep(scenario, {"load.mass": loads}, simulate=True, workers=1)
    panels = see.panels(sweep_figure(found, COLUMN))
    assert "limit 1.25" in {line.get_label() for line in panels[1].get_lines()}
