"""What is read off a record: lifted, held, run back, as asked."""

from dataclasses import replace

import numpy as np
import pytest

from winchsim.assessment.evaluate import assess
from winchsim.assessment.history import middle_mean
from winchsim.assessment.kinds import CheckKey, FindingKind, Status
from winchsim.inputs import Brake, Pawl, Phase
from winchsim.model import Event

TOP = Phase(action="raise", until="top")


@pytest.fixture
def slippery(ran, make_stage):
    """A winch whose few good stages let the load run back, with parts changed."""

    def make(**parts):
        return ran(
            stage=make_stage(5.0, 0.97, repeat=2),
            load={"mass": 3.0, **parts.pop("load", {})},
            **parts,
        )

    return make


def test_a_lift_that_holds(ran):
    history = ran().history
    assert history.lifted and history.as_asked and history.held is True
    assert history.lift_time == pytest.approx(history.up.time)
    assert [span.step.action for span in history.spans] == ["raise", "off"]
    assert not history.run_backs()


def test_steady_values_are_those_of_the_middle_half_of_the_lift_wherever_it_stands_in_the_programme(
    ran,
):
    plain = ran().history
    assert plain.steady("voltage") == pytest.approx(6.0 - 0.2 * plain.steady("current"), rel=1e-6)
    time = plain.record.time
    middle = (time > plain.lift_time / 4) & (time < 3 * plain.lift_time / 4)
    assert (
        plain.record["current"][middle].min()
        < plain.steady("current")
        < plain.record["current"][middle].max()
    )
    later = ran(
        phase=(Phase(action="off", until="time", time=3.0), Phase(action="raise", until="top"))
    ).history
    assert later.up.time == pytest.approx(later.lift_time + 3.0)
    assert later.lift_time == pytest.approx(plain.lift_time, rel=1e-4)
    assert later.steady("current") == pytest.approx(plain.steady("current"), rel=1e-3)


def test_mean_of_the_middle_is_exact_for_lines_with_a_jump():
    """1 up to t = 2, then 3 rising to 5 at t = 4: between 1 and 3 the mean is (1 + (3 + 4)/2)/2."""
    time, values = np.array([0.0, 2.0, 2.0, 4.0]), np.array([1.0, 1.0, 3.0, 5.0])
    assert middle_mean(time, values, 0.0, 4.0) == pytest.approx(2.25)
    assert middle_mean(time, values, 2.4, 2.8) == pytest.approx(3.6), "between two samples"


def test_spans_cover_the_record_without_gap(ran):
    record, history = ran().record, ran().history
    assert history.spans[0].samples.start == 0
    assert history.spans[-1].samples.stop == len(record.time)
    for before, after in zip(history.spans, history.spans[1:], strict=False):
        assert (before.samples.stop, before.end) == (after.samples.start, after.start)


@pytest.mark.parametrize(
    ("parts", "held"),
    [({"load": {"mass": 80.0}}, None), ({"phase": (replace(TOP, time=0.5),)}, True)],
    ids=["never left the floor", "not up in time"],
)
def test_what_did_not_come_up_is_neither_lifted_nor_as_asked(ran, parts, held):
    history = ran(**parts).history
    assert not history.lifted and not history.as_asked
    assert history.held is held and not history.run_backs()
    assert history.lift_time is None and history.steady("current") is None


def test_a_run_back_is_measured_from_where_the_drum_turned(slippery):
    run = slippery()
    (back,) = run.history.run_backs()
    assert run.history.held is False
    assert run.history.lifted and run.history.as_asked, (
        "it was lifted as asked; that it does not hold is a danger of its own"
    )
    assert back.height == pytest.approx(run.record["height"].max(), abs=2e-3)
    assert back.values["landing_speed"] == pytest.approx(-run.record["speed"].min(), rel=0.05)
    assert not back.values["powered"]


@pytest.mark.parametrize(
    "part", [{"pawl": Pawl()}, {"brake": Brake(torque=1.0)}], ids=["pawl", "brake"]
)
def test_a_holding_part_holds_it(slippery, part):
    assert slippery(**part).history.held is True


@pytest.mark.parametrize("action", ["lower", "short"])
def test_a_meant_descent_is_no_run_back(slippery, action):
    history = slippery(phase=(TOP, Phase(action=action, until="floor"))).history
    assert history.as_asked and history.lifted
    assert history.held is None and not history.run_backs()


def test_shorted_terminals_for_a_time_do_not_hold(slippery):
    phases = (TOP, Phase(action="short", until="time", time=5.0))
    assert slippery(phase=phases).history.held is False


def test_a_load_that_hangs_from_the_start_is_watched(ran):
    history = ran(
        load={"start_height": 0.1}, phase=(Phase(action="off", until="time", time=2.0),)
    ).history
    assert history.held is True and history.as_asked


LOWERED = (
    TOP,
    Phase(action="lower", until="time", time=0.3),
    Phase(action="off", until="time", time=2.0),
)


@pytest.mark.parametrize(
    ("repeat", "mass", "height", "brake", "phase", "slip", "holds"),
    [
        (1, 0.6, 0.3, 2.0, (), 0.009, True),
        (1, 0.6, 0.1, 1.3, (), 0.018, False),
        (2, 3.0, 0.3, 4.0, LOWERED, 0.048, True),
    ],
    ids=["bounce", "far", "lowered"],
)
def test_a_load_that_slips_a_little_as_the_power_goes_off_and_then_stays_is_held(
    ran, make_stage, repeat, mass, height, brake, phase, slip, holds
):
    """In the bounce after a quick lift; while the brake stops what was lowered, however far."""
    run = ran(
        stage=make_stage(5.0, 0.97, repeat=repeat),
        brake=Brake(torque=brake * mass * 9.80665 * 0.006),
        load={"mass": mass, "height": height},
        phase=phase,
    )
    assert run.history.held is holds
    if holds:
        held = run.one(FindingKind.HELD).values
        assert held["let_down"] == pytest.approx(slip, rel=0.1) and held["slips"]
    else:
        assert run.one(FindingKind.BACK_DRIVEN).values["stopped"]
    assert bool(run.history.run_backs()) is not holds


def test_allowed_sag_is_a_hundredth_of_the_height_or_5_mm(ran):
    assert ran().history.allowed_sag == 0.005
    assert ran(load={"height": 0.8, "mass": 2.0}).history.allowed_sag == pytest.approx(0.008)


def test_given_back_never_is_negative_and_starts_at_zero(slippery):
    run = slippery()
    back = run.history.given_back(slice(0, len(run.record.time)))
    assert back[0] == 0.0 and np.all(back >= 0.0)
    assert back.max() == pytest.approx(0.1, abs=0.01)


def test_what_broke_is_known(ran):
    history = ran(rope={"breaking_force": 140.0, "knot_efficiency": 0.5}).history
    assert history.broke is not None and history.record.broken_link.kind.value == "rope_knot"
    assert history.held is None, "a run that ends with the break tells nothing about holding"


def test_a_meant_descent_after_a_run_back_is_no_part_of_it(slippery):
    """The load runs back while the power is off, and lands later under power: the run-back hits no
    floor."""
    run = slippery(
        phase=(
            TOP,
            Phase(action="off", time=0.15),
            Phase(action="lower", until="floor"),
        )
    )
    (back,) = run.history.run_backs()
    assert back.values["landing_speed"] is None and back.values["to_height"] > 0
    assert any(event.event is Event.LANDED for event in run.record.events)
    assert run.one(FindingKind.BACK_DRIVEN).values["landing_speed"] is None


def test_a_snag_that_lets_go_of_the_stretch_of_the_rope_is_no_run_back(ran, make_stage):
    """With the power off the drum unwinds what the stall had stretched the rope by; the load has
    not moved yet."""
    run = ran(
        load={"snag_height": 0.05, "mass": 3.0},
        rope={"axial_stiffness": 1e3},
        settings={"watch": 0.4},
        stage=make_stage(5.0, 0.79, shaft_drag=2e-4, repeat=3),
    )
    wound = run.record["rope_wound"]
    assert wound.max() - wound[-1] > 2 * run.history.allowed_sag
    assert run.history.run_backs() == []


def test_a_load_off_its_snag_that_friction_stops_again_is_held(ran, make_stage):
    """The stretched rope sets the train turning backward; what it then holds is the load alone."""
    run = ran(
        load={"snag_height": 0.05, "mass": 3.0},
        rope={"axial_stiffness": 1e3},
        settings={"watch": 4.0},
        stage=make_stage(5.0, 0.79, shaft_drag=2e-4, repeat=3),
    )
    (back,) = run.history.run_backs()
    assert 0 < back.values["to_height"] < 0.05 - run.history.allowed_sag
    assert run.record["drum_speed"][-1] == 0.0
    assert run.history.held and back.values["stopped"]
    assert assess(run.record).check(CheckKey.HOLD).status is Status.THIN


def test_a_load_that_bounces_off_the_floor_as_the_rope_is_paid_out_does_not_hang(slippery):
    """It was lifted and has run back: that the rope's bounce has it a millimetre up as the drum
    comes to its last turns is no end of its own."""
    history = slippery().history
    top = history.up
    off = replace(top, event=Event.PAID_OUT, time=float(history.record.time[-1]), height=1e-3)
    record = replace(history.record, events=(*history.record.events, off))
    assert replace(history, record=record).paid_out is None
    assert replace(history, record=replace(record, events=(replace(off, height=0.05),))).paid_out
