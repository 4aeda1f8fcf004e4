"""Several lifts on shared axes; measured points on the curves, with the difference stated."""

import numpy as np
import pytest
from shipped import FOLDER

from winchsim import read as load
from winchsim.assessment.history import read_history
from winchsim.model import Event
from winchsim.report.figures.look import COLUMN, LOOKS
from winchsim.report.figures.overlay import (
    MOST_POINTS,
    DrawnRun,
    key_of,
    line_of,
    measured_and_predicted,
    overlay,
    with_sheet,
    with_trace,
)
from winchsim.report.measured import compared, lift_tests, trace_differences
from winchsim.scenario.sheet import SheetRow, read_sheet
from winchsim.scenario.trace import MeasuredTrace
from winchsim.studies.calibrate import calibrate


@pytest.fixture(scope="module")
def runs(records):
    """Three lifts with names that are hard on a drawing."""
    return [
        DrawnRun("a $x_1$ <b>name</b>", records["lift"]),
        DrawnRun("漢字 " + "long " * 40, records["stall"]),
        DrawnRun("break", records["break"]),
    ]


def test_each_lift_has_its_curve_in_each_panel(runs, see):
    shown = see.panels(overlay(runs, COLUMN))
    assert [axes.get_ylabel() for axes in shown] == ["Height (m)", "Current (A)", "Winding (°C)"]
    for n, run in enumerate(runs, start=1):
        for axes, channel in zip(shown, ("height", "current", "motor_1_winding"), strict=True):
            (line,) = see.labelled(axes, f"_{n}")
            x, y = see.drawn(line)
            assert np.array_equal(x, run.record.time) and np.array_equal(y, run.record[channel])
            assert (
                np.isnan(np.asarray(line.get_ydata(), dtype=float)).sum()
                == len(run.record.segment_starts) - 1
            )


def test_lines_are_told_apart(see, runs):
    lines = [see.labelled(see.panels(overlay(runs, COLUMN))[0], f"_{n}")[0] for n in (1, 2, 3)]
    assert len({line.get_color() for line in lines}) == 3
    assert len({str(line_of(i, 4)[1]) for i in range(4)}) == 4
    shades = [line_of(i, 9)[0] for i in range(9)]
    luminance = [sum(int(shade[k : k + 2], 16) for k in (1, 3, 5)) for shade in shades]
    assert luminance == sorted(luminance, reverse=True) and len(set(shades)) == 9


def test_key_says_what_became_of_each(runs, records):
    key = key_of(runs, COLUMN)
    assert (
        key[0] == f"1  a $x_1$ <b>name</b>, up after {read_history(runs[0].record).lift_time:.2f} s"
    )
    assert "stalls on the floor after" in key[1] and "…" in key[1]
    broken = records["break"].first(Event.OVERLOAD)
    assert f"breaks on the floor after {broken.time:.2f} s" in key[2]


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
@pytest.mark.parametrize("count", [1, 3, 12])
def test_no_text_leaves_the_figure(runs, see, look, count):
    assert see.texts_beyond(overlay((runs * 4)[:count], look)) == []


def test_measured_lift_times_are_points(runs, see):
    figure = overlay([DrawnRun("lift", runs[0].record, (5.9, 6.2))], COLUMN)
    (points,) = see.labelled(see.panels(figure)[0], "_measured 1")
    assert list(points.get_xdata()) == [5.9, 6.2] and list(points.get_ydata()) == pytest.approx(
        [0.25, 0.25]
    )
    assert points.get_linestyle() == "None"
    assert "1" in [text.get_text() for text in see.panels(figure)[0].texts]
    key = [text.get_text() for text in figure.legends[0].get_texts()]
    assert len(key) == 1 and key[0].startswith("1  lift, up")


def _trace(record, count=60, offset=0.004):
    time = np.linspace(0.05, 5.0, count)
    return MeasuredTrace(time, height=np.interp(time, record.time, record["height"]) + offset)


def test_trace_lies_on_the_curve_and_its_difference_below(lift, see):
    trace = _trace(lift)
    figure = with_trace(lift, COLUMN, trace)
    upper, lower = see.panels(figure)
    assert (upper.get_ylabel(), lower.get_ylabel().replace("\n", " ")) == (
        "Height (m)",
        "Off by (mm)",
    )
    (points,) = see.labelled(upper, "_measured height")
    assert np.array_equal(points.get_xdata(), trace.time) and np.allclose(
        points.get_ydata(), trace.height
    )
    assert np.array_equal(see.drawn(see.labelled(upper, "_simulated height")[0])[1], lift["height"])
    (gaps,) = see.labelled(lower, "_difference height")
    assert np.allclose(gaps.get_ydata(), 4.0)
    (difference,) = trace_differences(lift, trace)
    written = " ".join(text.get_text() for axes in figure.axes for text in axes.texts)
    assert difference.mean == pytest.approx(0.004)
    assert "mean +4 mm" in " ".join(written.split()).replace(".00", "") and "60 samples" in written


def test_a_long_trace_is_thinned_and_says_so(lift, see):
    figure = with_trace(lift, COLUMN, _trace(lift, 1000))
    (points,) = see.labelled(see.panels(figure)[0], "_measured height")
    assert len(points.get_xdata()) <= MOST_POINTS
    assert any(
        "one measured point in 9 is drawn" in t.get_text() for t in see.panels(figure)[1].texts
    )
    assert see.texts_beyond(figure) == []


def test_test_sheet_beside_its_simulation(records, see):
    record = records["lift"]
    time = read_history(record).lift_time
    tests = [
        compared(SheetRow(mass=6.0, measured_time=1.10 * time, measured_current=1.5), record),
        compared(SheetRow(mass=6.0, measured_time=1.20 * time), record),
        compared(SheetRow(mass=60.0, outcome="stalled"), records["stall"]),
    ]
    figure = with_sheet(tests, COLUMN)
    times, currents, shares = see.panels(figure)
    assert [axes.get_ylabel() for axes in (times, currents, shares)] == [
        "Lift time (s)",
        "Steady current (A)",
        "Difference (%)",
    ]
    assert shares.get_xlabel() == "Load (kg)"
    measured = next(line for line in times.get_lines() if line.get_label() == "measured")
    assert list(measured.get_ydata()) == pytest.approx([1.10 * time, 1.20 * time])
    drawn = next(line for line in shares.get_lines() if line.get_label() == "time, mean +15 %")
    assert list(drawn.get_ydata()) == pytest.approx([10.0, 20.0])
    assert see.texts_beyond(figure) == []


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
@pytest.mark.parametrize("off", [0.9925, 0.9969, 0.61, 2.34])
def test_the_key_of_the_differences_stays_inside(records, see, look, off):
    record = records["lift"]
    lift = read_history(record)
    row = SheetRow(
        mass=6.0, measured_time=off * lift.lift_time, measured_current=off * lift.steady("current")
    )
    assert see.texts_beyond(with_sheet([compared(row, record)], look)) == []


def test_a_sheet_without_a_number_still_draws(records, see):
    figure = with_sheet(
        [compared(SheetRow(mass=60.0, outcome="stalled"), records["stall"])], COLUMN
    )
    assert see.panels(figure)[2].texts[0].get_text() == "nothing to compare"


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
def test_marks_of_a_calibration_are_named_within_the_figure(see, look):
    inputs = load(str(next(FOLDER.glob("08-*.toml"))))
    tests = lift_tests(inputs, read_sheet(str(FOLDER / "08-bell-rungs.csv")))
    figure = measured_and_predicted(calibrate(inputs, tests), look)
    assert any("test to come" in text.get_text() for text in figure.legends[0].get_texts())
    assert see.texts_beyond(figure) == []
