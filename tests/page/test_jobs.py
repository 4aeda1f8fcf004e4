"""What the worker makes for the page: questions, the map of two keys, and the picture's motion."""

import re

import numpy as np
import pytest
from shipped import FOLDER

from winchsim import assess, parse as loads, read as load, simulate, sweep
from winchsim.page import jobs, picture
from winchsim.page.sizing import QUESTIONS
from winchsim.page.state import with_text
from winchsim.scenario.starter import STARTER

INPUTS = loads(STARTER)


@pytest.mark.parametrize("name", [name for name in QUESTIONS if name != "choose"])
def test_each_candidate_is_a_build_that_can_be_taken(name):
    (found,) = jobs.question(INPUTS, name)
    rows = found["rows"]
    assert len(rows) > 2 and sum(row["is_recommended"] for row in rows) <= 1
    assert all(len(row["ranks"]) == len(found["checks"]) for row in rows)
    assert len({row["text"] + row["about"] for row in rows}) == len(rows)
    builds = [row["inputs"] for row in rows if "as it is" not in row["about"]]
    assert INPUTS not in builds and all(build.load.height == 0.6 for build in builds)


def test_each_build_of_parts_at_hand_can_be_taken():
    inputs = load(str(next(FOLDER.glob("12-*.toml"))))
    (found,) = jobs.question(inputs, "choose")
    rows = found["rows"]
    assert [row["is_recommended"] for row in rows] == [True, *[False] * (len(rows) - 1)]
    assert all(row["inputs"].parts == inputs.parts != row["inputs"] for row in rows)
    assert all(len(row["ranks"]) == len(found["checks"]) > 0 for row in rows)
    taken = assess(simulate(rows[0]["inputs"]), actions=False)
    assert taken.exit_code == 0 and taken.status.value in rows[0]["mark"]


def test_lines_of_a_map_part_what_fails_from_what_does_not():
    (found,) = jobs.two_keys(INPUTS, {"load.mass": (5.0, 60.0), "drum.diameter": (0.01, 0.06)})
    fails = np.array(found["ranks"]) == 0
    assert fails.any() and not fails.all()
    points = [point for line in found["lines"] for point in line["points"]]
    x, y = np.array(found["x"]), np.array(found["y"])
    both = 0
    for point in points:
        i, k = np.searchsorted(x, point[0]), np.searchsorted(y, point[1])
        near = fails[max(i - 1, 0) : i + 1, max(k - 1, 0) : k + 1]
        both += near.any() and not near.all()
    assert points and both > 0


def test_no_line_of_a_map_runs_where_its_check_is_not_read():
    """The winding of a motor that stalls soon passes its limit or not by the time it is given."""
    inputs = load(str(FOLDER / "05-harvest-basket-on-a-battery.toml"))
    (found,) = jobs.two_keys(inputs, {"drum.diameter": (0.01, 0.06), "load.mass": (2.0, 15.0)})
    values = {"drum.diameter": found["x"], "load.mass": found["y"]}
    lifted = sweep(inputs, values, ranges=False).lifted.reshape(len(found["x"]), -1)
    heaviest = np.array(found["y"])[lifted.any(axis=0)].max()
    step = found["y"][1] - found["y"][0]
    winding = [line for line in found["lines"] if line["name"] == "winding temperature"]
    assert all(y <= heaviest + step for line in winding for _, y in line["points"])


def test_numbers_of_a_curve_keep_five_digits_and_stay_short():
    values = np.array([0.0, -1.23456789e-4, 0.1 + 0.2, 17.123456, -9.9999999, 23456.4, 1234567.8])
    expected = [0.0, -1.2346e-4, 0.3, 17.123, -10.0, 23456.0, 1234568.0]
    assert [str(number) for number in picture.short(values)] == [str(v) for v in expected]


def test_gears_of_the_picture_turn_as_they_mesh():
    """Two motors with 15 teeth on 54, a second such pair, then 14 on 49, for one turn of the drum:
    each against those it meshes with."""
    inputs = load(str(next(FOLDER.glob("01-*.toml"))))
    drawn = picture.svg(simulate(inputs), inputs, {})
    turns = re.findall(r'class="(?:pinion|gear)" data-k="([^"]*)"', drawn)
    expected = [3.6 * 3.6 * 3.5] * 2 + [-3.6 * 3.5] * 2 + [3.5] * 2 + [-1.0]
    assert list(map(float, turns)) == pytest.approx(expected, rel=1e-4)


def test_a_load_falls_freely_after_a_break():
    held = load(str(next(FOLDER.glob("06-*.toml"))))
    (found,) = jobs.lift(held)
    assert held.pawl.fitted and found["motion"]["h"][-1] == pytest.approx(held.load.snag_height)
    snagged = with_text(held, "pawl.fitted", "false")
    (found,) = jobs.lift(snagged)
    motion = found["motion"]
    time, height = np.array(motion["t"]), np.array(motion["h"])
    s = time[time > motion["broke"]] - motion["broke"]
    fallen = snagged.load.snag_height - 9.80665 * s**2 / 2
    assert s.size > 10 and height[-1] == pytest.approx(0, abs=1e-6)
    np.testing.assert_allclose(height[-s.size :], fallen, atol=1e-3)
    assert "stage 2 breaks" in found["svg"]
