"""Each kind of finding, on a run that must show it."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim.assessment.evaluate import assess
from winchsim.assessment.findings import find
from winchsim.assessment.history import read_history
from winchsim.assessment.kinds import FindingKind
from winchsim.hybrid import Outcome
from winchsim.inputs import Pawl, Phase
from winchsim.model import Event

from ..conftest import stage

WEAK_ROPE = {"rope": {"breaking_force": 140.0, "knot_efficiency": 0.5}}
TOP = Phase(action="raise", until="top")
TOUGH_ROPE = {"breaking_force": 1e8, "knot_efficiency": 1.0}


def _hot(small, **changes):
    heat = {
        "winding_heat_capacity": 0.05,
        "case_heat_capacity": 1.0,
        "winding_to_case": 20.0,
        "case_to_ambient": 40.0,
    }
    return replace(small().motors[0], **{**heat, **changes})


def test_a_held_load_lets_down_little(ran):
    held = ran().one(FindingKind.HELD)
    assert 0 <= held.values["let_down"] <= ran().history.allowed_sag and held.values["watched"] > 0


def test_a_stall_has_its_shortfall_and_the_time_to_the_limit(ran, small):
    run = ran(load={"mass": 80.0}, motors=_hot(small), settings={"stall_watch": 30.0})
    stalled = run.one(FindingKind.STALLED)
    assert 0 < stalled.values["torque_share"] < 1 and stalled.height == pytest.approx(0.0, abs=1e-9)
    assert not stalled.values["from_rest"]
    hot = run.one(FindingKind.OVERHEATED)
    assert stalled.values["time_to_limit"] == pytest.approx(hot.time - stalled.time, abs=0.01)


def test_a_load_that_would_keep_rising_stalls_from_rest(ran):
    run = ran(load={"start_height": 0.2, "mass": 10.0}, settings={"breakaway": 1.6})
    assert run.one(FindingKind.STALLED).values["from_rest"]
    assert assess(run.record, actions=False, ranges=False).target.from_rest


@pytest.mark.parametrize("limit", [None, 1.8])
def test_time_to_the_limit_in_closed_form(ran, small, limit):
    """A power that goes off before: the closed form against a run that is watched for longer."""
    motors = _hot(small, winding_heat_capacity=1.0, winding_to_case=60.0)
    parts = {"load": {"mass": 80.0}, "motors": motors, "supply": {"current_limit": limit}}
    short = ran(**parts, settings={"stall_watch": 0.5}).one(FindingKind.STALLED)
    long = ran(**parts, settings={"stall_watch": 200.0})
    seen = long.record.first(Event.HOT).time - long.one(FindingKind.STALLED).time
    assert short.values["time_to_limit"] == pytest.approx(seen, rel=0.25 if limit is None else 0.02)


def test_windings_that_stay_cool_never_reach_the_limit(ran):
    assert ran(load={"mass": 80.0}).one(FindingKind.STALLED).values["time_to_limit"] == float("inf")


def test_stall_at_the_end_of_a_layer(ran):
    """A load that the first layer still carries and the second does not."""
    run = ran(
        load={"mass": 12.0, "height": 0.3},
        drum={"width": 0.012},
        rope={"diameter": 0.002, **TOUGH_ROPE},
    )
    stalled = run.one(FindingKind.STALLED)
    assert stalled.height > 0.01 and stalled.values["layer_end"]


def test_late_has_its_limit(ran):
    assert (
        ran(phase=(Phase(action="raise", until="top", time=0.5),))
        .one(FindingKind.LATE)
        .values["time_limit"]
        == 0.5
    )


def test_back_driven_with_speed_and_energy(ran, make_stage):
    run = ran(stage=make_stage(5.0, 0.97, repeat=2), load={"mass": 3.0})
    back = run.one(FindingKind.BACK_DRIVEN).values
    assert back["landing_energy"] == pytest.approx(3.0 * back["landing_speed"] ** 2 / 2)
    assert not back["in_guide"] and not back["powered"]


def test_a_drum_that_pays_out_while_the_guide_holds_the_load(ran, make_stage, make_motor):
    """A load of 100 N whose guide rubs with 80 N, 104 N at rest, on a drum that turns back
    freely."""
    motors = make_motor(4.0, 0.005, idle_current=0.05, count=12)
    load = {"mass": 100.0 / 9.80665, "height": 0.2, "guide_friction": 80.0}
    run = ran(motors=motors, stage=make_stage(5.0, 0.97, repeat=2), load=load)
    back = run.one(FindingKind.BACK_DRIVEN).values
    assert back["in_guide"] and back["landing_speed"] is None
    assert (
        run.record["rope_wound"].max() - run.record["rope_wound"][-1] > 2 * run.history.allowed_sag
    )


def test_a_load_that_still_creeps_when_the_watch_ends(ran, make_stage):
    """Too slow to come back by 5 mm within the watch: not held, though it is not back-driven
    yet."""
    run = ran(stage=make_stage(5.0, 0.97, repeat=2), load={"mass": 3.0}, settings={"watch": 0.02})
    assert run.history.held is False and not run.history.run_backs()
    assert run.one(FindingKind.CREEPS).values["watched"] == pytest.approx(0.02)


def test_a_broken_part_has_its_capacity(ran):
    broke = ran(**WEAK_ROPE).one(FindingKind.PART_BROKE)
    assert broke.values["capacity"] == pytest.approx(70.0)
    assert broke.values["unit"] == "N" and broke.time > 0


def test_a_rope_that_breaks_at_once_breaks_in_a_run_of_one_instant(ran):
    weak = {"breaking_force": 10.0, "knot_efficiency": 0.5}
    run = ran(load={"start_height": 0.1, "height": 0.2}, rope=weak)
    assert run.record.time.size == 1 and run.has(FindingKind.PART_BROKE)


def test_snag_and_the_pull_it_makes(ran):
    run = ran(load={"snag_height": 0.05})
    snag = run.one(FindingKind.SNAGGED)
    assert snag.height == pytest.approx(0.05)
    assert snag.values["tension"] == pytest.approx(run.record["tension"].max())
    assert snag.values["hanging"] == pytest.approx(8.0 * 9.80665)
    assert run.one(FindingKind.STALLED).values["blocked_by"]


def test_top_stop_has_its_speed(ran):
    assert ran(load={"top_stop": 0.05}).one(FindingKind.TOP_STOP).values["speed"] > 0


def test_stick_and_slip_is_counted(ran, make_stage):
    run = ran(
        load={"guide_friction": 60.0},
        rope={"axial_stiffness": 300.0, "damping_ratio": 0.01},
        stage=make_stage(12.0, 0.8, shaft_drag=2e-4, repeat=3),
    )
    found = run.one(FindingKind.STICK_SLIP).values
    slips = [e.time for e in run.record.events if e.event is Event.SLIPS]
    assert found["pull_low"] < found["pull_high"] and found["count"] == len(slips)
    assert found["rate"] == pytest.approx(1 / np.mean(np.diff(slips)))


@pytest.mark.parametrize(
    ("parts", "kind"),
    [
        # A pawl that catches a fast drum throws the load up into slack rope.
        (
            {
                "stage": stage(5.0, 0.97, repeat=1),
                "load": {"mass": 0.5, "height": 0.5},
                "pawl": Pawl(),
                "rope": {"axial_stiffness": 5e4, "damping_ratio": 0.02},
            },
            FindingKind.ROPE_SLACK,
        ),
        ({"supply": {"kind": "battery", "capacity": 1.0}}, FindingKind.BATTERY_EMPTY),
        ({"phase": (TOP, Phase(action="lower", until="floor"))}, FindingKind.LANDED_HARD),
    ],
)
def test_what_needs_no_value_is_found(ran, parts, kind):
    assert ran(**parts).has(kind)


def test_drum_overflow(ran):
    run = ran(drum={"width": 0.006, "flange_diameter": 0.020}, load={"height": 0.4})
    assert 0 < run.one(FindingKind.DRUM_OVERFLOW).height < 0.4


@pytest.mark.parametrize(("action", "lands"), [("lower", True), ("off", False), ("short", False)])
def test_a_pawl_blocks_a_lowering_only_where_no_motors_lift_it(ran, action, lands):
    run = ran(pawl=Pawl(), phase=(TOP, Phase(action=action, until="floor", time=20.0)))
    assert bool(run.record["height"][-1] < 1e-3) is lands
    assert run.has(FindingKind.NO_PATH_DOWN) is not lands


def test_far_below_nominal_voltage(ran):
    found = ran(supply={"voltage": 2.5}).one(FindingKind.FAR_BELOW_NOMINAL_VOLTAGE).values
    assert found["voltage"] / found["nominal"] == pytest.approx(2.5 / 6.0)
    assert not ran(supply={"voltage": 3.5}).has(FindingKind.FAR_BELOW_NOMINAL_VOLTAGE)


@pytest.mark.parametrize("outcome", [outcome for outcome in Outcome if not outcome.ok])
def test_a_run_that_broke_off_has_one_finding(ran, outcome):
    (finding,) = find(read_history(replace(ran().record, outcome=outcome)))
    assert finding.kind is FindingKind.NOT_TRUSTED


def test_an_energy_balance_that_does_not_close_is_not_trusted(ran):
    record = ran().record
    record = replace(record, energy=replace(record.energy, residual=0.01 * record.energy.scale))
    (finding,) = find(read_history(record))
    assert finding.kind is FindingKind.NOT_TRUSTED and finding.values[
        "energy_error"
    ] == pytest.approx(0.01)


def test_findings_stand_in_the_order_of_time(ran):
    times = [
        finding.time
        for finding in ran(load={"top_stop": 0.05}).findings
        if finding.time is not None
    ]
    assert len(times) > 1 and times == sorted(times)
