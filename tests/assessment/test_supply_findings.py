"""A supply that is not described, compared with ordinary ones."""

import pytest

from winchsim.assessment.evaluate import assess
from winchsim.assessment.findings import find
from winchsim.assessment.history import read_history
from winchsim.assessment.kinds import CheckKey, FindingKind, Status
from winchsim.inputs import Supply
from winchsim.physics.sources import shares_of_ordinary
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
