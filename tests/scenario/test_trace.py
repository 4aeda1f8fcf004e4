"""Logged and filmed lifts: any heads, any start, several lifts in one file."""

import math

import numpy as np
import pytest

from winchsim.errors import InputError
from winchsim.inputs import with_value
from winchsim.scenario.read import read_string
from winchsim.scenario.sheet import SheetRow
from winchsim.scenario.starter import STARTER
from winchsim.scenario.trace import read_for


@pytest.fixture
def log(tmp_path):
    def read(content, layout="", load=10.0):
        path = tmp_path / "log.csv"
        path.write_text(content, encoding="utf-8")
        inputs = with_value(read_string(STARTER, "starter").inputs, "load.mass", load)
        return read_for(inputs, str(path), layout)

    return read


def lifts(spans, *, step=0.01, current=1.2, height=0.5, pause=2.0):
    """Time, current and height of lifts that take `spans` seconds each, with pauses before, between
    and after in which the load comes down by hand."""
    rows, start = [], 0.0
    for number, span in enumerate(spans):
        for t in np.arange(0.0, pause + span, step):
            share = np.clip((t - pause) / span, 0.0, 1.0)
            down = height * max(0.0, 1 - t / pause * 1.5) if number else 0.0
            rows.append((start + t, current if t > pause else 0.01, height * share or down))
        start += pause + span
    return [*rows, *((start + t, 0.0, height) for t in (0.1, 0.3, 0.5))]


def text(rows, heads="time_s,current_a,height_m", cell="{:.5g}".format, separator=","):
    return "\n".join([heads, *(separator.join(map(cell, row)) for row in rows)]) + "\n"


def test_heads_with_units_are_read_in_si(log):
    rows, _, found = log("time_ms,height_in,current_ma\n0,0,100\n500,1,\n1000,2,300\n")
    (lift,) = found.lifts
    assert found.guessed == () and found.unused == ()
    np.testing.assert_allclose(lift.trace.time, [0, 0.5, 1.0])
    np.testing.assert_allclose(lift.trace.height, [0, 0.0254, 0.0508])
    np.testing.assert_allclose(lift.trace.current, [0.1, math.nan, 0.3])
    assert lift.trace.voltage is None and rows == (lift.row,)


def test_a_sheet_stays_a_sheet(log):
    rows, origin, found = log("mass_kg,measured_time_s\n5,20\n")
    assert rows == (SheetRow(mass=5.0, measured_time=20.0),) and origin is None and found is None


@pytest.mark.parametrize(
    "heads",
    [
        "Zeit [ms];Strom (mA);Höhe / mm;Temperatur",
        "t ms;I_mot_ma;pos mm;x",
        "millis;Current (mA);h [mm];note",
    ],
)
def test_heads_are_guessed_and_told(log, heads):
    """Milliseconds, decimal commas, semicolons, and a column that is no use."""
    rows = [(1000 * t, 1000 * i, 1000 * h, 0) for t, i, h in lifts([6.0])]
    content = text(rows, heads, lambda value: f"{value:.2f}".replace(".", ","), ";")
    (row,), _, found = log(content, load=2.0)
    units = {name: unit for _, name, unit in found.guessed}
    assert units == {"time": "ms", "current": "mA", "height": "mm"} and len(found.unused) == 1
    assert row.mass == 2.0 and row.measured_current == pytest.approx(1.2)
    assert row.measured_time == pytest.approx(6.0, abs=0.08) and row.outcome is None
    assert row.height == pytest.approx(0.5, rel=0.01)


def test_commas_before_three_digits_are_decimal_where_others_show_it(log):
    (row,), _, _found = log("t_s;current_a\n0;0\n0,5;1,250\n4,5;1,250\n5;0\n")
    assert row.measured_current == 1.25
    with pytest.raises(InputError, match="comma") as caught:
        log("t_s;current_a\n0;0\n1;1,250\n4;1,250\n5;0\n")
    assert [fault.line for fault in caught.value.faults] == [3]


def test_heads_are_named_by_the_user(log):
    content = "a,b,c\n" + "".join(f"{t / 10},{1 if 10 <= t < 60 else 0},{t}\n" for t in range(90))
    (row,), _, found = log(content, "time=a:s, current=B:500 mA", load=1.0)
    assert row.measured_time == pytest.approx(4.95, abs=0.06) and row.measured_current == 0.5
    assert found.guessed == () and found.unused == ("c",)


def test_a_log_that_starts_early_counts_from_the_rise_of_the_current(log):
    (_,), _, found = log(text(lifts([6.0], pause=3.21)))
    assert found.lifts[0].aligned and found.lifts[0].start == pytest.approx(3.21, abs=0.011)
    assert found.lifts[0].trace.time[0] == pytest.approx(-3.21, abs=0.011)


def test_a_log_that_starts_late_is_carried_back_by_its_heights(log):
    """The first third of the lift is missing: the rest says how long it took."""
    rows = [(t - 4.0, i, h) for t, i, h in lifts([6.0]) if t > 4.0]
    (row,), _, found = log(text(rows))
    assert not found.lifts[0].aligned and found.lifts[0].start == pytest.approx(-2.0, abs=0.05)
    assert row.measured_time == pytest.approx(6.0, abs=0.1)
    assert row.height == pytest.approx(0.5, rel=0.02)
    blind = log(text([(t + 3.0, i) for t, i, _ in rows], "time_s,current_a"))[0][0]
    assert blind.measured_time is None and blind.measured_current == pytest.approx(1.2)


def test_several_lifts_are_cut_into_rungs(log):
    content = text(lifts([4.0, 6.0, 9.0]))
    rows, _, found = log(content, "loads=0/2.5/5 kg")
    assert [row.rung for row in rows] == [1, 2, 3] and [row.mass for row in rows] == [0, 2.5, 5]
    assert [row.measured_time for row in rows] == pytest.approx([4.0, 6.0, 9.0], abs=0.12)
    assert [lift.start for lift in found.lifts] == pytest.approx([2.0, 8.0, 16.0], abs=0.02)
    with pytest.raises(InputError, match="3 lifts in this log, and 2 loads") as caught:
        log(content, "loads=2/5 kg")
    assert caught.value.faults[0].expected.endswith("16 s")
    assert "2.001 s" in caught.value.faults[0].expected


def test_a_lift_in_which_the_load_stays_down_is_a_stall(log):
    stuck = [(t, 2 * i if t > 6.0 else i, h if t <= 7.9 else 0.0) for t, i, h in lifts([4.0, 4.0])]
    first, second = log(text(stuck), "loads=2/9 kg")[0]
    assert first.outcome is None and first.measured_time
    assert (second.outcome, second.measured_time) == ("stalled", None)
    assert second.measured_current == pytest.approx(2.4)


def test_turns_of_the_drum_are_heights(log):
    """A rope of 3 mm on a drum of 12 mm: its middle runs on a circle of 15 mm."""
    rows = [(t, i, h / (math.pi * 0.015)) for t, i, h in lifts([5.0])]
    (row,), *_ = log(text(rows, "time_s,current_a,turns"))
    assert row.height == pytest.approx(0.5, rel=0.01)


def test_a_film_gives_pictures_and_marks(log):
    """25 pictures a second, eight times faster than real, marks of 10 cm on a stick: 0.5 m from
    picture 10 to 60 take 50 × 8 / 25 = 16 s."""
    content = "Bild;Marke\n5;0\n10;0\n20;1\n30;2\n40;3\n50;4\n60;5\n70;5\n"
    (row,), _, found = log(content, "frame=Bild, height=Marke:10 cm, rate=25, speed=8", load=3.0)
    assert (row.mass, row.height) == (3.0, 0.5)
    assert row.measured_time == pytest.approx(16.0) and found.lifts[0].start == pytest.approx(3.2)
    with pytest.raises(InputError, match="how many a second"):
        log(content, "height=Marke:10 cm")


def test_two_lifts_of_a_film_are_told_apart_where_the_load_comes_down(log):
    content = "t_s,h_cm\n-1,\n0,0\n2,20\n4,40\n9,20\n12,1\n13,0\n16,20\n19,40\n"
    rows, *_ = log(content, "loads=1/2 kg")
    assert [row.measured_time for row in rows] == pytest.approx([4.0, 6.0])


def test_times_of_day_count_in_seconds(log):
    content = (
        "clock,current_a\n"
        + "".join(f"0:59:{50 + n},{1.0 if n > 3 else 0.0}\n" for n in range(10))
        + "1:00:00.250,1\n1:00:00.750,0\n"
    )
    (row,), _, _found = log(content)
    assert row.measured_time == pytest.approx(3600.25 - 3593.1, abs=0.01)


@pytest.mark.parametrize(
    ("content", "layout", "line", "message"),
    [
        ("time_s,height_m\n0,0\n1,1\n1,2\n", "", 4, "does not increase"),
        ("time_s,height_m\n0,0\n,1\n", "", 3, "time is missing"),
        ("time_s,current_a\n0,0\n1,1.2x\n2,1\n", "", 3, ""),
        ("time_s\n0\n1\n", "", 1, "nothing but times"),
        ("height_m\n0\n1\n", "height=height_m", 1, "no column time_s"),
        ("time_s,height_m\n0,inf\n1,1\n", "", 2, "not a finite number"),
        ("time_s,height_m\n0,1\n", "", None, "fewer than two samples"),
        ("time_s,height_m\n0,1\n1,2\n", "current=I", 1, "no column I"),
        ("time_s,height_m\n0,1\n1,2\n", "weight=I", None, "no such part of a log"),
        ("time_s,height_m\n0,1\n1,2\n", "speed=-1", None, "out of bounds"),
    ],
)
def test_what_cannot_be_read_is_one_message_with_its_row(log, content, layout, line, message):
    with pytest.raises(InputError) as caught:
        log(content, layout)
    (fault,) = caught.value.faults
    assert message in fault.message and fault.line == line


def test_a_long_log_is_read_in_reasonable_time(log, within):
    content = "time_s,height_m,current_a\n" + "".join(f"{i},0.25,1.5\n" for i in range(50_000))
    with within(5.0):
        assert log(content)[2].lifts[0].trace.time.shape == (50_000,)
