"""Programmes that do more than raise to the top: what they ask for, how they end, and what of them
ran."""

import pytest

from winchsim import assess, simulate
from winchsim.assessment.kinds import ActionKind, CheckKey, End, FindingKind, Status
from winchsim.inputs import Phase
from winchsim.model import Event
from winchsim.physics.supply import Regime
from winchsim.report.render.options import sentence_text
from winchsim.report.words.outcome import outcome

TOP, FLOOR = Phase(action="raise", until="top"), Phase(action="lower", until="floor")
UP, OFF = (Phase(action=action, time=1.0) for action in ("raise", "off"))
TRIPS = {"current_limit": 1.0, "over_current": "trip", "trip_delay": 0.2}


@pytest.fixture(scope="module")
def ended(small):
    """Maker of the record of a programme of the small winch, its assessment and its sentence."""

    def make(*phases, **parts):
        record = simulate(small(phase=phases, **parts))
        found = assess(record, actions=False, ranges=False)
        return record, found, sentence_text(outcome(found))

    return make


@pytest.mark.parametrize("loose", [False, True], ids=["held", "runs back"])
def test_a_raise_for_a_time_is_not_said_to_reach_the_target(ended, sliding, loose):
    record, found, text = ended(UP, Phase(action="off", time=5.0), **(sliding if loose else {}))
    most, target = record["height"].max(), found.target
    assert 0 < most < 0.095 and target.gained == most
    assert target.as_asked and not target.reached and target.time == pytest.approx(1.0)
    assert target.final_height == record["height"][-1] and (target.final_height == 0) is loose
    check = found.check(CheckKey.TARGET)
    assert check.value == most and check.hard is None and check.status is Status.THIN
    assert found.check(CheckKey.PROGRAMME).status is Status.OK and found.exit_code == int(loose)
    assert text.startswith("Raises") and "the target of 0.1 m is not reached" in text
    assert "Lifts" not in text and ("runs back to the floor" in text) is loose


def test_a_raise_that_stops_a_little_short_does_not_reach_the_target(ended):
    """A held load may sag by 5 mm; one that is raised has no such allowance."""
    _, found, _ = ended(UP, load={"height": 0.021})
    assert 0.018 < found.target.gained < 0.021 and not found.target.reached


@pytest.mark.parametrize("time", [0.7, 3.0])
def test_a_raise_that_stalls_is_a_stall_however_soon_the_power_goes_off(ended, time):
    record, found, text = ended(Phase(action="raise", time=time), OFF, load={"mass": 60.0})
    stall, still = record.first(Event.STALLED), record.first(Event.DRUM_STOPS)
    assert stall.time == still.time < 0.25
    assert found.target.end is End.STALLED and "stalls before lift-off" in text
    assert found.check(CheckKey.PROGRAMME).status is Status.FAILS


def test_a_raise_for_long_enough_reaches_the_target(ended):
    _, found, text = ended(Phase(action="raise", time=3.0), load={"height": 0.05})
    assert found.target.reached and found.check(CheckKey.TARGET).status is Status.OK
    assert found.target.gained > 0.05 and text.startswith("Raises") and "not reached" not in text


def test_a_programme_that_does_not_raise_has_no_height_to_reach(ended):
    _, found, text = ended(OFF, load={"start_height": 0.05})
    assert found.check(CheckKey.TARGET) is None and found.check(CheckKey.PROGRAMME).value == 1.0
    assert "with the load at 50 mm. Power off" in text


def test_a_part_that_breaks_where_nothing_is_raised_is_made_stronger(small):
    record = simulate(
        small(phase=(OFF,), load={"start_height": 0.05}, rope={"breaking_force": 20.0})
    )
    found = assess(record, ranges=False)
    assert found.target.end is End.PART_BROKE
    assert ActionKind.STRONGER_PART in {action.kind for action in found.actions}


@pytest.mark.parametrize(
    ("parts", "event", "end"),
    [
        ({"supply": TRIPS}, Event.SUPPLY, End.SUPPLY_TRIPPED),
        ({"supply": {"kind": "battery", "capacity": 1.0}}, Event.EMPTY, End.BATTERY_EMPTY),
        ({"load": {"snag_height": 0.05}}, Event.SNAGGED, End.SNAGGED),
        ({"load": {"top_stop": 0.05}}, Event.TOP_STOP, End.TOP_STOP),
    ],
)
def test_time_and_height_of_an_end_are_those_of_its_cause(ended, parts, event, end):
    record, found, _ = ended(TOP, OFF, **parts)
    (cause,) = [e for e in record.events if e.event is event and e.target in (None, Regime.TRIPPED)]
    target = found.target
    assert target.end is end and cause.time < record.time[-1] - 0.5
    assert (target.time, target.final_height) == (cause.time, cause.height)


def test_a_supply_that_trips_at_a_snag_is_off_when_the_load_runs_back(ended, sliding):
    parts = {
        **sliding,
        "load": {"mass": 6.0, "snag_height": 0.05},
        "supply": {**TRIPS, "current_limit": 2.5},
    }
    _, found, text = ended(TOP, OFF, **parts)
    assert not found.finding(FindingKind.BACK_DRIVEN).values["powered"]
    assert "snags at 50 mm, and the supply switches itself off" in text
    assert "Power off: it runs back" in text


def test_phases_that_do_not_run_fail(ended):
    """The drum has unwound all rope before the second raise."""
    _, found, text = ended(TOP, Phase(action="lower", time=60.0), UP)
    check = found.check(CheckKey.PROGRAMME)
    assert found.target.end is End.PAID_OUT and check.value == pytest.approx(1 / 3)
    assert check.status is Status.FAILS and found.exit_code == 1
    assert "the phases that follow do not run" in text
    assert ended(TOP, FLOOR, OFF, UP, OFF)[1].check(CheckKey.PROGRAMME).value == 1.0


@pytest.mark.parametrize("stop", [None, 0.05])
def test_what_a_load_hits_at_the_top_is_named(ended, stop):
    """Past its target it is the drum or sheave itself; of a stop below it the target is missed."""
    _, found, text = ended(Phase(action="raise", time=30.0), load={"top_stop": stop})
    assert found.target.end is End.TOP_STOP and found.exit_code == 1
    assert ("runs into the drum or top sheave at 0.38 m" in text) is (stop is None)
    assert ("hits its top stop at 50 mm" in text) is ("below the target" in text) is bool(stop)
    assert (found.check(CheckKey.TARGET).status is Status.OK) is (stop is None)
    assert found.check(CheckKey.PROGRAMME).status is Status.FAILS


def test_the_time_of_a_lift_in_two_raises_is_that_of_both(ended):
    record, found, _ = ended(UP, OFF, TOP)
    check, up = found.check(CheckKey.LIFT_TIME), record.first(Event.TOP)
    assert check.value == found.target.time == up.time > 3.0
    assert check.hard == pytest.approx(2.0 + record.machine.phases[2].time) and check.limit_assumed
    assert check.status is Status.OK


def test_a_load_that_is_not_down_in_time_was_lifted(ended):
    _, found, text = ended(TOP, Phase(action="lower", until="floor", time=0.5))
    assert found.target.end is End.LATE and not found.target.reached
    assert text.startswith("The load is not down in time")
    assert found.check(CheckKey.TARGET).status is Status.OK
    assert found.check(CheckKey.PROGRAMME).value == 0.5
