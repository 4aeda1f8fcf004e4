"""The curves over time: labels with units, data equal to the record, events marked, nothing outside
the figure."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure

from winchsim.errors import DomainError
from winchsim.model import Event
from winchsim.quantity_text import in_unit
from winchsim.report.figures.catalogue import figure, pictures
from winchsim.report.figures.curves import (
    electrical,
    height_and_speed,
    temperatures,
    tension,
    zoom_windows,
)
from winchsim.report.figures.frame import EVENT, HELD, REPEATED, held_spans, marks_and_key, whole
from winchsim.report.figures.look import COLUMN, LIMIT_DASHES, SERIES, SLIDE
from winchsim.report.names import NAMES

LABELS = {
    height_and_speed: ["Height (m)", "Speed (mm/s)"],
    electrical: ["Current (A)", "Voltage (V)", "Power (W)"],
    temperatures: ["Temperature (°C)"],
}


@pytest.mark.parametrize("draw", LABELS, ids=lambda draw: draw.__name__)
def test_axes_say_what_they_are_in_which_unit(lift, see, draw):
    shown = see.panels(draw(lift, COLUMN))
    assert [axes.get_ylabel() for axes in shown] == LABELS[draw]
    assert shown[-1].get_xlabel() == "Time (s)"


@pytest.mark.parametrize("name", ["lift", "stall", "break", "snag", "jerks"])
def test_curves_are_the_record(records, see, name):
    record = records[name]
    height, speed = see.panels(height_and_speed(record, COLUMN))
    current, voltage, power = see.panels(electrical(record, COLUMN))
    for axes, values in (
        (height, record["height"]),
        (speed, 1000 * record["speed"]),
        (current, record["current"]),
        (voltage, record["voltage"]),
        (power, record["voltage"] * record["current"]),
    ):
        x, y = see.drawn(see.curve_of(axes))
        assert np.array_equal(x, record.time)
        assert np.allclose(y, values, rtol=1e-12, atol=0)


def test_nothing_is_drawn_across_a_switch(lift, see):
    panels = see.panels(electrical(lift, COLUMN))
    assert len(panels) == 3
    for axes in panels:
        y = np.asarray(see.curve_of(axes).get_ydata(), dtype=float)
        assert np.isnan(y).sum() == len(lift.segment_starts) - 1


@pytest.mark.parametrize("name", ["lift", "stall", "break", "snag", "jerks"])
def test_each_mark_has_a_line_in_every_panel_and_a_number_explained_below(records, see, name):
    record = records[name]
    shown = see.panels(height_and_speed(record, COLUMN))
    marks, _ = marks_and_key(record, COLUMN, whole(record))
    for axes in shown:
        assert [line.get_xdata()[0] for line in see.labelled(axes, EVENT)] == pytest.approx(
            [mark.start for mark in marks]
        )
        strokes = [each for each in axes.collections if each.get_label() == REPEATED]
        assert len(strokes) == sum(mark.repeated for mark in marks)
    written = [text.get_text() for text in shown[0].texts if text.get_text().isdigit()]
    key = " ".join(shown[-1].texts[-1].get_text().split())
    assert written == [str(n) for n in range(1, len(marks) + 1)]
    assert all(f"{n} {mark.names[0][0]}" in key for n, mark in enumerate(marks, start=1))


def test_the_held_drum_is_shaded(lift, see):
    (axes, _) = see.panels(height_and_speed(lift, COLUMN))
    bands = [patch for patch in axes.patches if patch.get_label() == HELD]
    spans = held_spans(lift, whole(lift))
    assert [b.get_x() for b in bands] == pytest.approx([start for start, _ in spans])
    assert [b.get_x() + b.get_width() for b in bands] == pytest.approx([end for _, end in spans])
    assert spans[-1][1] == lift.time[-1]


@pytest.mark.parametrize("name", ["lift", "stall at once"])
def test_height_shows_what_was_asked_for(records, see, name):
    axes = see.panels(height_and_speed(records[name], COLUMN))[0]
    (level,) = see.labelled(axes, "_limit")
    assert level.get_ydata()[0] == pytest.approx(0.25) and axes.get_ylim()[1] > 0.25
    assert "target 0.25 m" in [text.get_text() for text in axes.texts]


def test_temperatures_of_winding_and_case_with_their_limit(lift, see):
    figure = temperatures(lift, COLUMN)
    (axes,) = see.panels(figure)
    curves = [line for line in axes.get_lines() if str(line.get_label()).startswith("_child")]
    assert np.array_equal(see.drawn(curves[0])[1], lift["motor_1_winding"])
    assert np.array_equal(see.drawn(curves[1])[1], lift["motor_1_case"])
    assert "winding limit 120 °C" in {text.get_text() for text in axes.texts}
    assert [text.get_text() for text in figure.legends[0].get_texts()] == [
        "winding",
        "case",
        "ambient",
    ]
    assert curves[0].get_linestyle() != curves[1].get_linestyle()


def test_tension_is_shown_larger_where_the_load_lifts_off(lift, see):
    first, *larger = zoom_windows(lift)
    off = lift.first(Event.LIFT_OFF).time
    assert first.start < off < first.end and first.span < (lift.time[-1] - lift.time[0]) / 3
    shown = see.panels(tension(lift, COLUMN))
    assert len(shown) == 2 + len(larger) and all(
        axes.get_ylabel().lower().endswith("rope tension (n)") for axes in shown
    )
    assert shown[1].get_xlim() == pytest.approx((first.shown(first.start), first.shown(first.end)))
    x, y = see.drawn(see.curve_of(shown[0]))
    assert np.array_equal(x, lift.time) and np.array_equal(y, lift["tension"])
    weight = in_unit(lift.machine.scales.pull, "N")
    assert see.labelled(shown[0], "_weight")[0].get_ydata()[0] == pytest.approx(weight)


def test_a_snag_is_shown_larger(records):
    record = records["snag"]
    snag = record.first(Event.SNAGGED).time
    assert any(w.start < snag < w.end for w in zoom_windows(record))


@pytest.mark.slow
@pytest.mark.parametrize(
    ("look", "us"), [(COLUMN, False), (SLIDE, True)], ids=["column", "slide and US units"]
)
@pytest.mark.parametrize("name", ["lift", "stall", "stall at once", "break", "snag", "jerks"])
def test_no_text_leaves_any_figure(records, see, name, look, us):
    drawn = pictures(records[name], replace(look, us=us))
    assert [words.name for words, _ in drawn] == list(NAMES)
    for words, shown in drawn:
        assert see.texts_beyond(shown) == [], words.name
        wide, high = (25.4 * size for size in shown.get_size_inches())
        assert wide == pytest.approx(look.width) and 20 < high < (170 if look is COLUMN else 200)


def test_us_units_take_the_place_of_si(lift, see):
    height, speed = see.panels(height_and_speed(lift, replace(SLIDE, us=True)))
    assert [axes.get_ylabel() for axes in (height, speed)] == ["Height (ft)", "Speed (in/s)"]
    assert np.allclose(see.drawn(see.curve_of(height))[1], lift["height"] / 0.3048)
    (warm,) = see.panels(temperatures(lift, replace(COLUMN, us=True)))
    winding = next(line for line in warm.get_lines() if str(line.get_label()).startswith("_child"))
    assert np.allclose(see.drawn(winding)[1], 32 + 1.8 * lift["motor_1_winding"])


def test_no_line_style_means_two_things():
    assert len({str(LIMIT_DASHES), *(str(dashes) for _, dashes in SERIES)}) == len(SERIES) + 1


def test_a_figure_by_name(lift):
    assert isinstance(figure(lift, "energy"), Figure)
    with pytest.raises(DomainError, match="height-and-speed"):
        figure(lift, "height")
