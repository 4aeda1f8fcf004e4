"""A supply that is not described, compared with ordinary ones."""

import pytest

from winchsim.assessment.evaluate import assess
from winchsim.assessment.findings import find
from winchsim.assessment.history import read_history
from winchsim.assessment.kinds import CheckKey, FindingKind, Status
from winchsim.inputs import Controller, Supply
from winchsim.physics.sources import shares_of_ordinary
from winchsim.report.render.options import sentence_text
from winchsim.report.words.findings import finding as finding_text
from winchsim.report.words.outcome import outcome
from winchsim.simulation import simulate
from winchsim.slow import vary
from winchsim.studies.sweep import by_slow_model


def finding(inputs, kind):
    return next((row for row in find(read_history(simulate(inputs))) if row.kind is kind), None)


def test_a_supply_left_out_is_compared_with_ordinary_ones(small):
    left_out = finding(small(supply=Supply(voltage=6.0)), FindingKind.SUPPLY_NOT_DESCRIBED)
    assert left_out.values["inrush"] == pytest.approx(2 * 6.0 / 4.0)
    assert left_out.values["small_adapter"] == pytest.approx(1.5), (
        "two stalled motors are too much for 2 A"
    )
    assert left_out.values["large_adapter"] < 1
    limited = small(supply=Supply(voltage=6.0, current_limit=2.0))
    assert finding(limited, FindingKind.SUPPLY_NOT_DESCRIBED) is None


def test_a_battery_of_the_resistance_of_the_motors_gives_half_its_voltage():
    # 8 cells of 0.15 ohm are 1.2 ohm: at 12 V stalled motors of 1.2 ohm would draw 10 A.
    assert shares_of_ordinary(10.0)["alkaline_aa"] == pytest.approx(1.0)


def test_a_supply_at_its_limit_for_the_start_alone_is_ok_and_for_the_lift_thin(small):
    short, long = (
        small(supply={"current_limit": 2.0}),
        small(supply={"current_limit": 1.75}, load={"mass": 8.5}),
    )
    one, other = (
        assess(simulate(inputs), actions=False, ranges=False).check(CheckKey.SUPPLY)
        for inputs in (short, long)
    )
    assert (one.status, other.status) == (Status.OK, Status.THIN) and 0 < one.value < other.value
    for inputs, check in ((short, one), (long, other)):
        values = finding(inputs, FindingKind.SUPPLY_LIMITED).values
        assert values["duration"] / values["raising_time"] == pytest.approx(check.value)


FOLDS = {"current_limit": 2.4, "over_current": "foldback", "fold_current": 0.1}
CONTROLLED = {"controller": Controller(limit=0.8)}


@pytest.mark.parametrize(
    ("supply", "load", "cause"),
    [
        (FOLDS, {"start_height": 0.05}, "; the supply has folded back to 0.6 A"),
        ({**FOLDS, "current_limit": 1.2}, {}, "; the supply has folded back to 0.162 A"),
        # Two motors of 4 ohm take 0.8 A at 1.6 V: 1.28 W and the loss in 0.2 ohm, at 6 V.
        (CONTROLLED, {"start_height": 0.05}, "; the supply at its limit gives only 0.215 A"),
        ({}, {"mass": 80.0}, ""),
        (FOLDS, {"snag_height": 0.05, "mass": 1.0}, ""),
    ],
)
def test_a_stall_names_the_supply_that_gives_less_than_without_its_limit(
    small, supply, load, cause
):
    record = simulate(small(supply=supply, load=load, settings={"stall_watch": 10.0}))
    found = assess(record, actions=False, ranges=False)
    check, row = found.check(CheckKey.SUPPLY), found.finding(FindingKind.STALLED)
    shown = finding_text(row)
    texts = [sentence_text(each) for each in (shown.text, shown.action, outcome(found))]
    assert cause in texts[0] and cause in texts[2]
    assert ("stronger supply" in texts[1]) is ("the supply" in texts[0]) is bool(cause)
    assert "no limit" not in texts[0] and "e−" not in str(found)
    assert not cause or (check.status is Status.THIN and check.value == pytest.approx(1.0))


def test_motors_that_load_no_part_are_not_said_to_lock(small):
    folded = {"current_limit": 1.2, "over_current": "foldback", "fold_current": 0.01}
    screen = str(assess(simulate(small(supply=folded)), actions=False, ranges=False))
    assert "If it jams: the motors load no part." in screen
    assert "locked" not in screen and "lowest factor no limit" not in screen


@pytest.mark.parametrize(("delays", "status"), [(3.0, Status.OK), (1.1, Status.THIN)])
def test_an_inrush_that_lasts_nearly_until_the_supply_trips_is_thin(small, delays, status):
    limited = small(supply={"current_limit": 2.2})
    lasts = finding(limited, FindingKind.SUPPLY_LIMITED).values["duration"]
    trips = {"current_limit": 2.2, "over_current": "trip", "trip_delay": delays * lasts}
    found = assess(simulate(small(supply=trips)), actions=False, ranges=False)
    assert found.target.reached and found.check(CheckKey.SUPPLY).status is status


@pytest.mark.parametrize(("share", "status"), [(1.1, Status.THIN), (0.75, Status.FAILS)])
def test_a_battery_is_compared_with_the_charge_of_the_whole_lift(small, share, status):
    """Also one that is empty before the load is up; candidates have as much by the slow model."""
    drawn = float(simulate(small(supply={"kind": "battery"}))["charge"][-1])
    inputs = small(supply={"kind": "battery", "capacity": share * drawn})
    check = assess(simulate(inputs), actions=False, ranges=False).check(CheckKey.BATTERY)
    assert check.status is status and check.value == pytest.approx(share, rel=1e-5)
    (same,) = (
        by_slow_model(vary(inputs, {"load.mass": [8.0]}), ranges=False)
        .check(CheckKey.BATTERY)
        .value
    )
    assert same == pytest.approx(share, rel=0.05)
