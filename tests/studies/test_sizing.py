"""The sizing questions: candidates, the rule of choice, bands and what binds them, and full
simulations."""

import dataclasses
import math

import numpy as np
import pytest
from shipped import FOLDER

import winchsim
from winchsim import assess, simulate
from winchsim.assessment.kinds import CheckKey, End, Holding, Status
from winchsim.errors import DomainError
from winchsim.inputs import Pawl, Phase, Stage, with_value
from winchsim.model import build
from winchsim.studies.candidates import STOCK, Candidates
from winchsim.studies.sizing import QUESTIONS, Question, most_power, size

pytestmark = pytest.mark.slow

PAIR = Stage(pinion=12, gear=48, module=0.001, width=0.01, material="steel", repeat=3, friction=0.1)


SLENDER = {"pawl": Pawl(), "rope": {"diameter": 0.001}, "load": {"mass": 2.0}}
"""A rope that bends over thin drums, and a light load that a pawl holds: some drums meet every
limit."""


@pytest.fixture
def toothed(small):
    return small(stage=PAIR, load={"mass": 5.0})


@pytest.fixture(scope="module")
def drums(small):
    return size(small(**SLENDER), "drum")


@pytest.fixture
def bell():
    return winchsim.read(next(FOLDER.glob("08-*.toml")))


def taken(study) -> float:
    assert study.recommended is not None
    return float(study.values[study.recommended])


# --- for every question


@pytest.mark.parametrize("name", QUESTIONS)
def test_the_rule_of_choice(small, name):
    """Never a failing check where another candidate has none; what is shown is the assessment of
    the full simulation, with the study's own holding margins."""
    study = size(small(), name)
    run = study.confirmation
    assert (
        study.exit_code == 0 and run.found.exit_code == 0 and run.found.status is not Status.FAILS
    )
    assert study.sweep.sound[study.recommended]
    if study.sweep.meets[study.offered].any():
        assert study.sweep.meets[study.recommended]
    for column in study.sweep.checks:
        check = run.found.check(column.key)
        if (
            check is not None
            and check.key is not CheckKey.TARGET
            and not isinstance(column.rank, float)
        ):
            assert column.rank[study.recommended] == check.status.rank, column.key
    for key in (CheckKey.HOLD, CheckKey.HOLD_DISTURBED):
        column, check = study.sweep.check(key), run.found.check(key)
        assert column.value[study.recommended] == pytest.approx(check.value, rel=1e-6)


@pytest.mark.parametrize("name", QUESTIONS)
def test_a_build_that_back_drives_does_not_meet_the_limits(small, name):
    loose = small(stage=dataclasses.replace(small().stage[0], efficiency=0.95), load={"mass": 6.0})
    study = size(loose, name)
    assert not study.sweep.meets[study.sweep.check(CheckKey.HOLD).rank == Status.FAILS.rank].any()
    if study.recommended is not None:
        assert study.confirmation.found.held is not Holding.NONE


@pytest.mark.parametrize("name", ["drum", "motors", "voltage", "gears"])
def test_where_every_candidate_fails_the_nearest_is_named_and_run(small, name):
    study = size(small(load={"mass": 300.0}), name)
    assert study.recommended is None and study.exit_code == 1
    assert study.runs[0].index == study.nearest and study.runs[0].found.exit_code == 1
    margins = study.sweep.check(CheckKey.START_COLD).value
    assert margins[study.nearest] == pytest.approx(margins.max())


@pytest.mark.parametrize("name", ["gears", "heaviest", "voltage"])
def test_limits_that_the_question_cannot_change_are_left_out(small, name):
    """Gears do not change the rope's bend; a load does not change it either."""
    study = size(small(stage=PAIR, load={"mass": 5.0}, drum={"diameter": 0.006}), name)
    assert CheckKey.ROPE_BEND not in {column.key for column, *_ in study.limits}
    assert CheckKey.ROPE_BEND not in study.bounds.values()


def test_progress_counts_the_full_simulations(small):
    told = []
    study = size(small(), "motors", on_progress=lambda done, total: told.append((done, total)))
    assert [done for done, _ in told] == list(range(1, len(study.runs) + 1))
    assert all(done <= total for done, total in told)


def test_a_snag_is_left_out_and_that_is_known(small):
    study = size(small(load={"snag_height": 0.05}), "drum")
    assert study.snag_left_out and study.recommended is not None


@pytest.mark.parametrize("name", ["drum", "motors", "voltage", "heaviest"])
def test_an_empty_range_is_refused(small, name):
    with pytest.raises(DomainError, match="a range that grows"):
        size(small(), name, low=4.0, high=4.0)


def test_a_sixth_question_is_one_row(small):
    """How stiff a supply has to be: any number of the scenario can be asked about."""

    def resistances(inputs, span):
        return Candidates(np.linspace(0.0, 4.0, 9))

    row = Question("supply", "supply.resistance", "ohm", resistances, lambda found, values: -values)
    study = size(small(load={"mass": 3.0}), row)
    assert study.recommended is not None and study.confirmation.found.exit_code == 0
    good = study.sweep.meets if study.sweep.meets.any() else study.sweep.sound
    assert taken(study) in study.values[good] and {1.0, 4.0} <= set(study.values.tolist())


def test_a_target_time_and_a_margin_bind(small):
    free, quick = (
        size(small(load={"mass": 4.0}), "drum"),
        size(small(load={"mass": 4.0}), "drum", target_time=3.0),
    )
    assert quick.values[quick.sweep.sound].min() > free.values[free.sweep.sound].min()
    assert quick.confirmation.time <= 3.0
    ends = []
    for margin in (1.0, 1.8):
        study = size(small(), "drum", margin=margin)
        limits = {column.key: ok for column, ok, _ in study.limits}
        ends.append(study.values[limits[CheckKey.START_COLD]].max())
        assert study.sweep.check(CheckKey.START_COLD).required == margin
    assert ends[1] < ends[0]
    assert size(small(), "drum", target_time=1e-3).exit_code == 1


def test_the_fastest_on_request(small):
    usual, fast = size(small(), "drum"), size(small(), "drum", fastest=True)
    assert fast.confirmation.time <= usual.confirmation.time


# --- drum


def test_drums_are_tried_from_the_rope_to_beyond_the_stall(drums):
    assert len(drums.values) >= 150 and np.all(np.diff(drums.values) > 1e-8)
    low, high = drums.values[0], drums.values[-1]
    assert {size for size in STOCK if low <= size <= high} <= set(drums.values.tolist())
    assert low == pytest.approx(0.001)  # the rope's diameter
    assert drums.sweep.check(CheckKey.START_COLD).value[-1] < 1


def test_a_drum_that_can_be_bought_is_confirmed_in_full(drums, small):
    diameter = taken(drums)
    assert diameter in STOCK and abs(drums.confirmation.difference) < 0.01
    again = assess(simulate(with_value(small(**SLENDER), "drum.diameter", diameter)), actions=False)
    assert drums.confirmation.found.checks == again.checks


def test_edges_of_the_band_are_edges_and_run_in_full(drums):
    first, last = drums.band(drums.sweep.meets)
    ran = {run.index for run in drums.runs}
    for edge, beyond in ((first, first - 1), (last, last + 1)):
        if 0 < edge < len(drums.values) - 1:
            assert edge in ran and not drums.sweep.meets[beyond]
            assert abs(drums.values[beyond] / drums.values[edge] - 1) < 0.03
    assert None not in drums.bounds.values() and drums.difference < 0.02


def test_a_range_without_a_stock_size_gives_one_that_can_be_turned(small):
    diameter = taken(size(small(), "drum", low=0.0062, high=0.0078))
    assert diameter not in STOCK and diameter * 2000 == pytest.approx(round(diameter * 2000))


def test_inch_sizes_count_on_request(small):
    study = size(small(), "drum", low=0.0061, high=0.0066, inch=True)
    assert taken(study) == pytest.approx(0.25 * 0.0254)


def test_a_thicker_drum_never_holds_better(small):
    between = dataclasses.replace(small().stage[0], efficiency=0.9, reverse_efficiency=0.85)
    study = size(small(stage=between, load={"mass": 6.0}), "drum", low=0.003, high=0.03)
    margins = study.sweep.check(CheckKey.HOLD).value
    assert np.all(np.diff(margins) <= 1e-9)
    assert study.recommended is None or margins[study.recommended] >= 1


# --- motors and voltage


def test_fewest_motors_that_meet_every_limit(small):
    study = size(small(), "motors")
    good = study.sweep.meets if study.sweep.meets.any() else study.sweep.sound
    assert taken(study) == study.values[good].min()
    assert study.values[0] == 1 and not study.sweep.sound[0]


def test_of_motors_that_lift_those_that_also_hold_are_taken(bell):
    """Three and four motors lift the bell and let it run back; the fewest that hold it are more."""
    study = size(bell, "motors")
    hold, lifted = (
        study.sweep.check(CheckKey.HOLD),
        [end is End.REACHED for end in study.sweep.ends],
    )
    back = [n for n in range(len(study.values)) if lifted[n] and hold.rank[n] == Status.FAILS.rank]
    assert back and max(study.values[back]) < taken(study)
    assert study.confirmation.found.held is not Holding.NONE


def test_a_range_of_counts_and_a_group(small, make_motor):
    groups = (
        make_motor(4.0, 0.005, idle_current=0.12, count=2),
        make_motor(4.0, 0.005, idle_current=0.12),
    )
    study = size(small(motors=groups), "motors", group=2, low=1, high=3)
    assert study.values.tolist() == [1, 2, 3] and study.path == "motors.2.count"
    with pytest.raises(DomainError, match="motors"):
        size(small(), "motors", group=3)


def test_dead_motors_are_kept_dead(small, make_motor):
    study = size(
        small(motors=make_motor(4.0, 0.005, idle_current=0.12, count=4, dead=1)),
        "motors",
        low=1,
        high=5,
    )
    assert study.values[0] == 2  # one live beside the dead one


def test_the_voltage_nearest_to_the_motors_own(small):
    study = size(small(), "voltage")
    volts, good = study.values, study.offered & study.sweep.meets
    assert taken(study) * 2 == round(taken(study) * 2)
    if good.any():
        assert abs(np.log(taken(study) / 6.0)) == pytest.approx(
            np.abs(np.log(volts[good] / 6.0)).min()
        )


@pytest.mark.parametrize("span", [(3.0, 12.0), (12.0, 20.0), (11.9, 12.1)])
def test_a_range_that_reaches_12_volts_tries_them(small, span):
    study = size(small(), "voltage", low=span[0], high=span[1])
    assert 12.0 in study.values[study.offered]


def test_a_phase_with_its_own_voltage_is_refused(small):
    with pytest.raises(DomainError, match=r"phase.1.voltage"):
        size(small(phase=Phase(action="raise", until="top", voltage=5.0)), "voltage")


# --- gears


def test_every_change_has_the_ratio_that_its_build_has(toothed):
    study = size(toothed, "gears")
    for change in study.changes[::6]:
        assert build(change.inputs).groups[0].ratio == pytest.approx(change.value, rel=1e-12)
    assert list(study.values) == sorted(study.values)
    assert {change.kind for change in study.changes} == {"none", "teeth", "more", "fewer"}


def test_other_teeth_change_one_pair_alone(toothed):
    change = next(c for c in size(toothed, "gears").changes if c.kind == "teeth")
    assert [stage.repeat for stage in change.inputs.stage] == [2, 1]
    assert change.inputs.stage[0].gear == 48 and change.inputs.stage[1].gear == change.gear != 48


def test_gears_that_meet_every_limit_are_left_as_they_are(toothed):
    study = size(toothed, "gears")
    assert study.changes[study.present].kind == "none"
    if study.sweep.meets[study.present]:
        assert study.recommended == study.present


def test_gears_that_are_too_fast_are_changed(small):
    study = size(
        small(stage=dataclasses.replace(PAIR, repeat=2), load={"mass": 9.0}, pawl=Pawl()), "gears"
    )
    change = study.changes[study.recommended]
    assert change.kind != "none" and change.value > 16.0 and study.exit_code == 0


def test_a_range_of_ratios(toothed):
    assert all(
        60.0 <= change.value <= 100.0
        for change in size(toothed, "gears", low=60.0, high=100.0).changes
    )
    with pytest.raises(DomainError, match="one change of the gears"):
        size(toothed, "gears", low=1e6)


def test_stages_that_are_no_gear_pairs_can_be_added_and_left_out(small):
    study = size(small(), "gears")
    assert sorted(round(change.value) for change in study.changes) == [25, 125, 625]
    alone = size(small(stage=dataclasses.replace(PAIR, repeat=1)), "gears")
    assert all(change.kind != "fewer" for change in alone.changes)


# --- heaviest


def test_the_heaviest_load_meets_every_limit_and_one_above_fails(small):
    study = size(small(load={"mass": 7.0}), "heaviest")
    mass = taken(study)
    assert study.sweep.meets[study.recommended] and mass == study.values[study.sweep.meets].max()
    assert not study.sweep.sound[study.values > study.values[study.sweep.sound].max()].any()
    heavy = with_value(small(), "load.mass", float(study.values[~study.sweep.sound].min()) * 1.02)
    assert assess(simulate(heavy), actions=False).exit_code == 1
    assert mass == float(f"{mass:.3g}")  # what is printed is what was run


def test_required_factors_count(small):
    weak = {"breaking_force": 400.0}
    strict = size(
        small(rope=weak, factors=dataclasses.replace(small().factors, rope=14.0)), "heaviest"
    )
    usual = size(small(rope=weak), "heaviest")
    ends = []
    for study in (strict, usual):
        column = study.sweep.check(CheckKey.PARTS)
        lifted = np.array([end is End.REACHED for end in study.sweep.ends])
        ends.append(study.values[lifted & (column.rank > Status.THIN.rank)].max())
    assert ends[0] == pytest.approx(ends[1] / 2, rel=0.15)


def test_a_heavy_target_is_not_blamed_on_the_rope(small):
    """A load that the motors cannot start is bound by them."""
    study = size(small(load={"mass": 500.0}), "gears")
    assert study.recommended is None
    assert study.sweep.cause(study.nearest) in (
        CheckKey.TARGET,
        CheckKey.START_COLD,
        CheckKey.START_HOT,
    )


def test_most_power_is_that_of_the_lifted_loads(small):
    """On a slope of 30 degrees half of the weight is pulled, at the speed along it."""
    study = size(small(load={"slope": math.radians(30)}), "heaviest")
    found = most_power(study)
    assert found.power == pytest.approx(found.mass * 9.80665 / 2 * found.speed, rel=1e-3)
    assert (
        found.mass in study.values
        and most_power(size(small(load={"mass": 300.0}), "heaviest")) is not None
    )
