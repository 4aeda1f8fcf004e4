"""Calibration of a small winch: what it finds, what it refuses, what it leaves open."""

from dataclasses import replace

import numpy as np
import pytest
from calibrating import foreseen, multiples, places, spans

from winchsim.errors import DomainError, InputError
from winchsim.inputs import Gearbox, Pawl, Stage, walk, with_value
from winchsim.model import build
from winchsim.model.estimate import pull
from winchsim.physics.chain import demand
from winchsim.slow import lift_batch, vary
from winchsim.strength.link import LinkKind
from winchsim.studies.calibrate import (
    Kind,
    LiftTest,
    MeasuredReading,
    NoteKind,
    calibrate,
    look_into,
)
from winchsim.studies.calibrate.evidence import demands, gather
from winchsim.studies.calibrate.forecast import END, Bench, ForecastRow, find_factors, moved

pytestmark = pytest.mark.slow

TRUTH = {"efficiency": 1.5, "shaft_drag": 2.0}
LOSSES = ("efficiency", "shaft_drag")


@pytest.fixture(scope="module")
def winch(small, make_stage):
    return small(stage=make_stage(5.0, 0.8, shaft_drag=1e-3, repeat=3), load={"height": 0.4})


@pytest.fixture(scope="module")
def small_tests(winch, synthetic):
    return synthetic(winch, TRUTH, noise=0.01)


@pytest.fixture(scope="module")
def calibrated(winch, small_tests):
    return calibrate(winch, [*small_tests, LiftTest(number=7, mass=8.0)])


def at(inputs, truth):
    """Scenario with losses at multiples of what it gives."""
    return moved(inputs, build(inputs), find_factors(inputs), places(inputs, truth))


# --- factors


@pytest.mark.parametrize(
    "row",
    [
        ForecastRow("stage.1.friction", 0.05, 0.15, 0.3),
        ForecastRow("stage.1.efficiency", 0.6, 0.8, 0.85),
        ForecastRow("motors.1.reverse_efficiency", -0.1, 0.2, 0.4),
        ForecastRow("rope.axial_stiffness", 1e4, 3e4, 3.3e4),
    ],
)
def test_a_factor_passes_through_the_declared_values_and_never_turns(row):
    worse = row.path.endswith("efficiency")
    ends = (row.high, row.low) if worse else (row.low, row.high)
    assert [row.at(z) for z in (-END, 0.0, END)] == pytest.approx([ends[0], row.value, ends[1]])
    steps = np.diff([row.at(z) for z in np.linspace(-5, 5, 101)])
    assert np.all(steps < 0 if worse else steps > 0)


@pytest.mark.parametrize(
    "row",
    [
        ForecastRow("stage.1.shaft_drag", 0.0, 0.0, 0.002),
        ForecastRow("motors.1.reverse_efficiency", 0.9, 0.96, 0.96),
        ForecastRow("motors.1.breakaway", 1.0, 1.0, 1.3),
    ],
)
def test_a_default_at_one_end_goes_the_other_way_only(row):
    other = row.low if row.value == row.high else row.high
    assert row.one_sided and [row.at(0.0), row.at(END)] == pytest.approx([row.value, other])


def test_factors_at_their_defaults_leave_the_winch_as_it_is(winch):
    found = find_factors(winch)
    assert moved(winch, build(winch), found, np.zeros(len(found))) == winch


def test_causes_are_those_of_the_ranges_and_each_is_one_factor(geared):
    found = {factor.name: [row.path for row in factor.rows] for factor in find_factors(geared)}
    assert ("supply.resistance", 0.0) in {
        (row.path, row.value)
        for factor in find_factors(with_value(geared, "supply.resistance", 0.0))
        for row in factor.rows
    }
    assert found["form_loss"] == ["stage.1.form_loss", "stage.2.form_loss"]
    assert "stage.1.friction" in found["mesh_friction"]
    names = [path for paths in found.values() for path in paths]
    assert len(names) == len(set(names))


@pytest.mark.parametrize(
    ("name", "multiple"),
    [("motor_constant", 1.2), ("motor_constant", 0.8), ("motor_resistance", 1.3)],
)
@pytest.mark.parametrize(
    "more",
    [
        {},
        {"brush_drop": 0.4, "drag_speed_share": 0.3},
        {"gearbox": Gearbox(ratio=5.0, efficiency=0.8)},
    ],
)
def test_a_motor_has_the_constant_and_resistance_of_its_factor(
    small, make_motor, name, multiple, more
):
    own = make_motor(
        4.0, 0.005, idle_current=0.12, **{k: v for k, v in more.items() if k != "gearbox"}
    )
    if "gearbox" in more:
        box = more["gearbox"]
        own = replace(
            own,
            gearbox=box,
            no_load_speed=own.no_load_speed / box.ratio,
            stall_torque=own.stall_torque * box.ratio * box.efficiency,
        )
    inputs = small(motors=own)
    old, new = build(inputs).groups[0], build(at(inputs, {name: multiple})).groups[0]
    k, r = (multiple if name == of else 1.0 for of in ("motor_constant", "motor_resistance"))
    assert (new.motor.constant, new.motor.resistance, new.fit.no_load_current) == pytest.approx(
        (k * old.motor.constant, r * old.motor.resistance, old.fit.no_load_current), rel=1e-9
    )


def test_a_given_efficiency_is_moved_by_its_loss(winch):
    assert at(winch, {"efficiency": 2.0}).stage[0].efficiency == pytest.approx(1 / 1.5)


# --- the fit


def test_noisy_tests_give_the_truth_within_their_intervals(calibrated):
    found, width = spans(calibrated), {row.factor.name: row.width for row in calibrated.parameters}
    for name, true in TRUTH.items():
        assert found[name][0] < true < found[name][1] < 1.8 * true
        assert width[name] < 0.4
    assert 0.3 < calibrated.scatter < 2.0 and 6 < calibrated.dof < 10


def test_the_calibrated_scenario_is_what_was_fitted(winch, calibrated):
    """Every change is a value that was moved, and none is left out."""
    rows = {row.factor.name: row for row in calibrated.parameters}
    at = [rows[factor.name].place for factor in find_factors(winch)]
    assert calibrated.inputs == moved(winch, build(winch), find_factors(winch), at)
    assert {path for path, _, _ in calibrated.changes} >= {
        "stage.1.efficiency",
        "stage.1.shaft_drag",
    }
    after = winch
    for path, _, value in calibrated.changes:
        after = with_value(after, path, value)
    assert list(walk(after)) == list(walk(calibrated.inputs))


def test_what_the_tests_say_little_of_keeps_its_prior(winch, calibrated):
    open_ = [row for row in calibrated.parameters if not row.determined]
    assert "supply" in {row.factor.name for row in open_}
    assert all(0.7 < row.width <= 1.0 for row in open_)
    supply = next(row for row in open_ if row.factor.name == "supply")
    assert supply.place == 0.0 and calibrated.inputs.supply == winch.supply


def test_the_next_load_is_foretold_with_an_interval(winch, calibrated, synthetic):
    row = calibrated.predictions[0]
    real = synthetic(winch, TRUTH, [8.0])[0]
    assert row.time.low < real.measured_time < row.time.high
    assert row.current.low < real.measured_current < row.current.high
    assert row.time.high / row.time.low < 1.3
    assert row.stall_chance < 1e-3 and row.blocked_by == ()


def test_an_outlier_is_named_and_changes_little(winch, small_tests, calibrated):
    spoiled = [
        replace(test, measured_time=1.6 * test.measured_time) if test.number == 3 else test
        for test in small_tests
    ]
    found = calibrate(winch, spoiled)
    assert [(row.test.number, row.kind) for row in found.residuals if row.is_outlier] == [
        (3, Kind.TIME)
    ]
    assert multiples(found)["efficiency"] == pytest.approx(
        multiples(calibrated)["efficiency"], rel=0.2
    )


def test_a_stall_bounds_what_times_alone_would_allow(winch, synthetic):
    """Light loads say little of the loss; a stall under a load that the fit would just lift shows
    that there is more of it."""
    light = synthetic(winch, {"efficiency": 1.5}, [1.0, 2.0], noise=0.02, current=False)
    without = calibrate(winch, light, only=["efficiency"])
    loads = [
        LiftTest(number=9, mass=float(mass), outcome="stalled")
        for mass in np.arange(5.0, 20.0, 0.25)
    ]
    margins = foreseen(without.inputs, loads, Kind.LIFTED)
    just = max(place for place, margin in enumerate(margins) if margin > np.log(1.08))
    told = calibrate(winch, [*light, loads[just]], only=["efficiency"])
    assert multiples(told)["efficiency"] > multiples(without)["efficiency"] + 0.02
    assert told.dof < without.dof + 0.1, "evidence from one side is no measurement"


def test_a_stall_that_contradicts_the_rest_does_not_bend_the_fit(winch, small_tests, calibrated):
    found = calibrate(winch, [*small_tests, LiftTest(number=9, mass=5.0, outcome="stalled")])
    assert multiples(found)["efficiency"] == pytest.approx(
        multiples(calibrated)["efficiency"], rel=0.05
    )
    assert [row.agrees for row in found.sides if row.kind is Kind.STALLED] == [False]


def test_holding_and_running_back_are_evidence(winch, small_tests):
    held = [
        replace(small_tests[0], held=True),
        replace(small_tests[5], held=False),
        *small_tests[1:5],
    ]
    found = calibrate(winch, held)
    assert {(row.test.number, row.kind, row.agrees) for row in found.sides} == {
        (1, Kind.HELD, True),
        (6, Kind.RAN_BACK, found.sides[1].predicted < 0),
    }


def test_a_load_that_ran_back_is_believed_against_the_model(winch, small_tests):
    """The answer says so, and no load as heavy is said to hold; a lighter one still is."""
    light, heavy = small_tests[0].mass / 2, small_tests[5].mass * 1.1
    seen = [*small_tests[1:], replace(small_tests[0], held=False)]
    to_come = [LiftTest(number=7, mass=light), LiftTest(number=8, mass=heavy)]
    found = calibrate(winch, [*seen, *to_come])
    assert [row.kind for row in found.sides if not row.agrees] == [Kind.RAN_BACK]
    assert [row.holds for row in found.predictions] == [True, False]
    assert [row.holds for row in calibrate(winch, [*small_tests, *to_come]).predictions] == [
        True,
        True,
    ]


@pytest.mark.parametrize("load", [{}, {"guide_friction": 8.0}])
def test_what_holds_a_load_is_measured_by_that_load_whatever_else_was_tested(winch, load):
    """A run without a load among the tests: the share is that of the machine with this load, from
    its own chain."""
    guided = replace(winch, load=replace(winch.load, **load))
    machine = build(guided)
    tests = (LiftTest(number=1, mass=0.001), LiftTest(number=2, mass=winch.load.mass))
    spare = lift_batch(
        vary(guided, {"load.mass": np.array([winch.load.mass])}).batches[0][1]
    ).hold_margin[0]
    raising = demand(machine.chain, 1)(
        pull(machine, machine.start_travel) * machine.layers[0].radius
    )
    assert foreseen(guided, tests, Kind.HELD)[1] == pytest.approx(spare / raising, rel=1e-6)
    assert abs(spare / raising) > 0.01


def test_loads_that_ran_back_lower_a_friction_that_would_have_held_them(winch, synthetic):
    """Beside an unloaded run too."""
    tests = (
        LiftTest(number=1, mass=0.001, measured_time=3.0),
        LiftTest(number=2, mass=8.0, held=False),
    )
    readings = [MeasuredReading(test, Kind.HELD, 0.0) for test in tests]
    at = np.array([places(winch, {"efficiency": by}) for by in (0.5, 1.0, 1.5)])
    hold = Bench(winch, readings, find_factors(winch)).forecast(at)[:, 1]
    assert np.all(np.diff(hold) > 0.02)


def test_a_current_read_while_stalled_tells_the_resistance(winch, synthetic):
    truth = {"motor_resistance": 1.2}
    tests = synthetic(winch, truth, noise=0.005)
    stalled = foreseen(at(winch, truth), [LiftTest(number=9, mass=40.0)], Kind.STALL_CURRENT)[0]
    rows = [
        LiftTest(number=n, mass=40.0, outcome="stalled", measured_current=float(stalled))
        for n in range(9, 13)
    ]
    found = calibrate(winch, [*tests, *rows], only=["motor_resistance"])
    assert multiples(found)["motor_resistance"] == pytest.approx(1.2, rel=0.02)


def test_tests_at_other_voltages_and_heights_are_foretold_as_such(winch, synthetic):
    tests = synthetic(winch, TRUTH, [2.0, 4.0, 6.0], voltages=[5.0, 6.0, 7.0])
    found = calibrate(winch, tests, only=LOSSES)
    assert multiples(found) == pytest.approx(TRUTH, rel=0.02)


def test_a_losing_motor_is_told_from_losing_gears_by_the_current(winch, synthetic):
    """A weaker magnet draws more current and runs faster unloaded; gear loss only slows it down."""
    tests = synthetic(winch, {"motor_constant": 0.9}, noise=0.003, voltage=True)
    found = calibrate(winch, tests)
    assert multiples(found)["motor_constant"] == pytest.approx(0.9, rel=0.02)


# --- what is refused, and what is said


def test_nothing_measured_is_refused(winch):
    with pytest.raises(InputError, match="nothing to fit"):
        calibrate(winch, [LiftTest(number=1, mass=3.0), LiftTest(number=2, mass=5.0, held=True)])


def test_one_measurement_is_enough_and_leaves_nearly_all_open(winch, synthetic):
    """The one time is met by what is known least; most of the prior is left of everything."""
    found = calibrate(winch, synthetic(winch, {"efficiency": 1.3}, [4.0], current=False))
    assert found.residuals[0].predicted == pytest.approx(found.residuals[0].measured, rel=0.05)
    assert sum(row.determined for row in found.parameters) <= 1
    assert found.dof < 1 and found.scatter == 1.0


def test_loads_that_are_all_the_same_do_not_separate_drag_from_loss(winch, synthetic):
    found = calibrate(
        winch, synthetic(winch, {"efficiency": 1.3}, [7.0, 7.0, 7.0], noise=0.01, current=False)
    )
    names = [row.factor.name for row in found.parameters]
    i, j = names.index("efficiency"), names.index("shaft_drag")
    assert found.correlation[i, j] < -0.3
    assert not found.parameters[j].determined
    assert found.predictions == ()


def test_form_and_friction_of_teeth_are_determined_only_together(geared, synthetic):
    """Both take a share of what the teeth pass on: no lift tells one from the other."""
    tests = synthetic(geared, {"mesh_friction": 1.4}, [2.0, 4.0, 6.0, 8.0, 10.0, 12.0], noise=0.002)
    found = calibrate(geared, tests, only=["mesh_friction", "form_loss", "motor_constant"])
    rows = {row.factor.name: row for row in found.parameters}
    assert rows["motor_constant"].determined
    for name in ("mesh_friction", "form_loss"):
        assert not rows[name].determined and 0.2 < rows[name].alone < 0.8
    assert [set(names) for names in found.together] == [{"mesh_friction", "form_loss"}]


def test_an_interval_is_wider_where_the_tests_leave_something_open(winch, synthetic, calibrated):
    """One load only: for another load, drag and loss cannot be told apart, and the interval owns up
    to it."""
    same = synthetic(winch, TRUTH, [5.0] * 6, noise=0.01, current=False)
    found = calibrate(winch, [*same, LiftTest(number=9, mass=8.0)])
    row, known = found.predictions[0], calibrated.predictions[0]
    assert row.time.open_share > 0.3
    assert row.time.high - row.time.low > 2 * (known.time.high - known.time.low)


def test_names_of_factors_are_checked(winch, small_tests):
    with pytest.raises(DomainError, match="efficiency, shaft_drag"):
        calibrate(winch, small_tests, only=["grease"])
    with pytest.raises(DomainError, match="level"):
        calibrate(winch, small_tests, level=1.5)


def test_a_test_that_the_scenario_cannot_have_seen_is_refused(winch, small_tests):
    with pytest.raises(InputError, match="test 9"):
        calibrate(
            with_value(winch, "load.top_stop", 0.45),
            [*small_tests, replace(small_tests[0], number=9, height=0.5)],
        )


def test_sorting_the_evidence():
    tests = [
        LiftTest(number=1, mass=1.0, measured_time=3.0),
        LiftTest(number=2, mass=1.0, measured_time=3.0, outcome="stalled"),
        LiftTest(number=3, mass=1.0, outcome="lifted", held=False),
        LiftTest(number=4, mass=1.0, measured_time=3.0, outcome="broke", broke_link="rope"),
        LiftTest(number=5, mass=1.0),
        LiftTest(number=6, mass=1.0, measured_time=2.0, outcome="stopped"),
    ]
    readings, notes = gather(tests)
    assert [(m.test.number, m.kind, m.measured) for m in readings] == [
        (1, Kind.TIME, 3.0),
        (2, Kind.STALLED, 0.0),
        (3, Kind.LIFTED, 0.0),
        (3, Kind.RAN_BACK, 0.0),
    ]
    assert [t.number for t in tests if not t.done] == [5]
    assert [t.number for t in tests if t.broke] == [4]
    assert [(note.kind, note.test.number) for note in notes] == [
        (NoteKind.NOT_A_LIFT_TIME, number) for number in (2, 4, 6)
    ]


def test_what_a_pawl_held_tells_nothing_of_friction(winch, small_tests):
    pawled = replace(winch, pawl=Pawl())
    held = [*(replace(test, held=True) for test in small_tests), LiftTest(number=7, mass=40.0)]
    found, plain = calibrate(pawled, held), calibrate(winch, small_tests)
    assert not found.sides and [note.kind for note in found.notes] == [NoteKind.PAWL_HOLDS]
    assert multiples(found) == pytest.approx(multiples(plain))
    assert [row.holds for row in found.predictions] == [True]
    assert [row.holds for row in calibrate(winch, held).predictions] == [False]


# --- breakages


@pytest.fixture(scope="module")
def geared(small):
    first = Stage(
        pinion=12, gear=60, module=1e-3, width=8e-3, material="PETG", friction=0.2, shaft_drag=2e-4
    )
    return small(stage=(first, replace(first, repeat=2, walls=3, infill=0.3)), load={"mass": 6.0})


@pytest.mark.parametrize(("words", "where", "kind"), [
    ("stage 2", "stage.2", "tooth_pinion"), ("gear of stage 1", "stage.1", "tooth_gear"), ("Rope", "rope", "rope"),
    ("rope fixing on the drum", "drum", "rope_anchor"), ("stage.2 pinion teeth", "stage.2", "tooth_pinion"),
    ("rope, 2 m from its end", "rope", "rope"),
])  # fmt: skip
def test_what_broke_is_understood(geared, words, where, kind):
    """A tooth where only the stage is named, though its shaft is weaker."""
    weak = with_value(geared, "stage.2.shaft_diameter", 1e-3)
    found = look_into(weak, LiftTest(number=1, mass=6.0, outcome="broke", broke_link=words))
    assert (found.at.link.where, found.at.link.kind.value) == (where, kind)


def test_a_breakage_bounds_the_strength_from_both_sides(geared):
    tests = [
        LiftTest(number=1, mass=3.0, measured_time=5.0),
        LiftTest(number=2, mass=6.0, outcome="broke", broke_link="stage 2"),
    ]
    found = look_into(geared, tests[1], tests)
    assert found.survived_mass == 3.0
    assert found.lower / found.at.demand == pytest.approx(0.5, abs=0.06) and not found.weakened
    estimate = found.at.link.strength.value
    assert 1 / found.at.factor == pytest.approx(found.at.demand / estimate)
    links = [
        k
        for k in build(with_value(geared, found.set_path, found.set_value)).links
        if k.where == "stage.2" and k.kind is found.at.link.kind
    ]
    assert links[0].strength.value == pytest.approx(found.lower, rel=1e-6)


def test_the_next_link_is_the_weakest_of_the_others(geared):
    found = look_into(geared, LiftTest(number=1, mass=6.0, outcome="broke", broke_link="rope"))
    assert found.next.link.where == "stage.2" and found.next.factor > 0
    other = look_into(geared, LiftTest(number=1, mass=6.0, outcome="broke", broke_link="stage 2"))
    assert other.next.link.where == "stage.2", (
        "the same part one shaft before is as strong as the one that broke"
    )
    assert other.next.factor == pytest.approx(5 * 0.9, rel=0.15)


@pytest.mark.parametrize("words", ["stage 7", "", "the bench"])
def test_a_breakage_of_nothing_known_is_asked_about_beside_a_calibration(geared, synthetic, words):
    bench = LiftTest(number=9, mass=6.0, outcome="broke", broke_link=words)
    found = calibrate(geared, [*synthetic(geared, {}, [2.0, 3.0, 4.0]), bench], only=["shaft_drag"])
    (note,) = found.notes
    assert note.kind is NoteKind.UNKNOWN_PART and not found.broken
    assert {"rope", "stage 1"} <= {part for part, _ in note.choices}


def test_a_tooth_without_its_stage_is_asked_for_by_likelihood(geared, synthetic):
    """The tooth of the last stage carries most: it comes first, and nothing is written of
    either."""
    tests = synthetic(geared, {}, [2.0, 3.0, 4.0])
    found = calibrate(
        geared, [*tests, LiftTest(number=9, mass=20.0, outcome="broke", broke_link="tooth")]
    )
    (note,) = found.notes
    assert note.kind is NoteKind.WHICH_PART and not found.broken
    parts, shares = zip(*note.choices, strict=True)
    assert "stage 2" in parts[0] and any("stage 1" in part for part in parts)
    assert sum(shares) == pytest.approx(1.0) and list(shares) == sorted(shares, reverse=True)


def test_a_part_that_broke_is_not_forgotten(geared, synthetic):
    """The proof-load bracket: capacity lies between the largest load survived and the one at which
    it broke; only the lower one may be relied on (common practice, no published source). Lifting
    the load that broke it breaks it again, the load that it survived does not."""
    tests = synthetic(geared, {}, [2.0, 3.0, 4.0])
    broke = LiftTest(number=9, mass=6.0, outcome="broke", broke_link="stage 2 pinion")
    found = calibrate(
        geared, [*tests, broke, *(LiftTest(number=n, mass=m) for n, m in ((10, 3.5), (11, 7.0)))]
    )
    (row,) = found.broken
    assert row.survived_mass == 4.0 and row.lower == row.survived < row.at.demand
    assert row.set_path == "stage.2.tested_tooth_force"
    assert [p.blocked_by for p in found.predictions] == [(), (9,)]
    for mass, breaks in ((6.0, True), (3.5, False)):
        again = demands(found.inputs, LiftTest(number=1, mass=mass))
        assert any(r.link.label == row.at.link.label and r.factor < 1 for r in again) is breaks


def test_without_a_survived_load_the_capacity_is_still_below_the_breakage(geared):
    found = look_into(geared, LiftTest(number=1, mass=6.0, outcome="broke", broke_link="stage 2"))
    assert found.survived == 0.0 and 0 < found.lower < found.at.demand


def test_a_survived_load_raises_a_lower_bound(geared, synthetic):
    """Teeth that are declared weaker than what they were seen to carry."""
    weak = with_value(geared, "stage.2.tooth_strength", 1e6)
    tests = synthetic(weak, {}, [2.0, 3.0, 4.0])
    found = calibrate(weak, tests)
    raised = {bound.at.link.label: bound for bound in found.bounds if bound.set_path}
    (name,) = [
        name
        for name, bound in raised.items()
        if bound.at.link.kind is LinkKind.TOOTH_PINION and "(2nd" in name
    ]
    bound = raised[name]
    assert bound.test.mass == 4.0 and bound.at.demand > bound.at.link.strength.value
    assert found.inputs.stage[1].tested_tooth_force >= bound.set_value * (1 - 1e-12)
    links = [k for k in build(found.inputs).links if k.where == "stage.2" and k.kind.is_tooth]
    assert min(k.strength.value for k in links) >= bound.at.demand * (1 - 1e-9)
