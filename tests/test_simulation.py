"""The record: its shape, its samples, its events and its energy balance, whatever the run comes
to."""

import pickle
from dataclasses import replace
from functools import partial

import numpy as np
import pytest
from four_motors import FOUR_MOTORS

from winchsim.hybrid import run
from winchsim.inputs import Drum, Inputs, Load, Phase, Rope, Stage, Supply, with_value
from winchsim.model import Event, Term, build
from winchsim.model.ledger import ELECTRICAL
from winchsim.quantity_text import PRINTED_UNITS
from winchsim.scenario.materials_table import with_tables
from winchsim.simulation import ENERGY_LIMIT, RELATIVE_TOLERANCE, EnergyBalance, simulate


def _winch(mass=5.0, **load) -> Inputs:
    return with_tables(
        Inputs(
            motors=(FOUR_MOTORS,),
            supply=Supply(voltage=6.0, resistance=0.1),
            stage=(Stage(kind="planetary", ratio=400.0, efficiency=0.6, shaft_drag=0.0),),
            drum=Drum(diameter=0.01, width=0.06),
            rope=Rope(diameter=0.004),
            load=Load(mass=mass, height=0.2, **load),
        )
    )


@pytest.fixture(scope="module")
def record():
    return simulate(_winch())


def test_every_channel_has_the_record_s_shape_a_printed_unit_and_a_label(record):
    for channel in record.channels.values():
        assert channel.values.shape == record.time.shape
        assert channel.unit in PRINTED_UNITS
        assert channel.label
    assert record.bound.shape == record.phase.shape == record.time.shape


def test_wanted_times_are_in_the_record_beside_the_events():
    times = np.linspace(0.0, 5.0, 41)
    record = simulate(_winch(), times=times)
    assert np.all(np.isin(times, record.time))
    reference = simulate(_winch(), rtol=1e-9, times=times)
    k, r = (np.searchsorted(x.time, times[5:]) for x in (record, reference))
    np.testing.assert_allclose(record["height"][k], reference["height"][r], atol=2e-6)


def test_a_sample_step_of_the_scenario_gives_samples_on_its_grid_and_at_switches_alone(record):
    inputs = with_value(_winch(), "settings.sample_step", 0.25)
    stepped = simulate(inputs, sampled=True)
    sampled = stepped.sampled
    inner = np.setdiff1d(sampled.time, [e.time for e in sampled.events])
    wanted = np.arange(1, int(sampled.time[-1] / 0.25) + 1) * 0.25
    assert np.all([np.min(np.abs(sampled.time - t)) < 1e-12 for t in wanted])
    assert len(inner) < len(wanted) + 2 * len(sampled.segment_starts) + 2
    assert stepped["tension"].tobytes() == record["tension"].tobytes()
    assert record.sampled is simulate(inputs).sampled is None, "nobody pays for what is not asked"


def test_a_grid_too_fine_to_keep_is_made_coarser_by_whole_steps(monkeypatch):
    monkeypatch.setattr("winchsim.simulation.MOST_ON_A_GRID", 100)
    sampled = simulate(with_value(_winch(), "settings.sample_step", 1e-6), sampled=True).sampled
    assert 90 < len(sampled.time) <= 100 + 2 * len(sampled.segment_starts)
    inner = np.setdiff1d(sampled.time, [e.time for e in sampled.events])
    inner = np.setdiff1d(inner, sampled.time[sampled.segment_starts])
    gap = np.median(np.diff(inner))
    assert gap / 1e-6 == pytest.approx(round(gap / 1e-6), abs=1e-6)


def test_a_long_quiet_stretch_still_has_samples_to_draw(record):
    assert np.max(np.diff(record.time)) <= record.time[-1] / 200


@pytest.mark.parametrize(
    "inputs",
    [
        _winch(),
        _winch(mass=400.0),
        _winch(snag_height=0.1),
        replace(_winch(), phase=(Phase(action="off", time=0.5),)),
        with_value(_winch(), "rope.breaking_force", 60.0),
    ],
    ids=["lifts", "stalls", "snags", "never powered", "rope breaks"],
)
def test_the_shape_is_the_same_however_the_run_ends(inputs, record):
    other = simulate(inputs)
    assert set(other.channels) == set(record.channels)
    assert other.events[-1].event is Event.END
    assert other.energy.error <= ENERGY_LIMIT
    assert all(np.isfinite(channel.values).all() for channel in other.channels.values())


def test_the_books_list_every_place_that_energy_goes(record):
    books = record.energy
    assert {"copper", "motor drag", "mesh of stage 1", "rope damping", "impacts"} <= set(
        books.spent
    )
    assert all(amount >= -1e-9 for amount in books.spent.values())
    gained = sum(books.stored_after.values()) - sum(books.stored_before.values())
    assert books.source - sum(books.spent.values()) - gained == pytest.approx(
        books.residual, abs=1e-12
    )
    height, rope = record["height"][-1], record.machine.line.mass_per_length
    # The load is raised whole; of the rope, what comes in at the top is raised from the middle of
    # where it hung.
    lifted = 9.80665 * (5.0 * height + rope * height * (record.machine.reach - height / 2))
    assert rope > 0
    assert books.stored_after["potential"] - books.stored_before["potential"] == pytest.approx(
        lifted, rel=1e-12
    )


def test_every_head_of_the_books_is_declared_or_an_element_of_the_chain(record):
    books = record.energy
    elements = {element.name for element in record.machine.chain.elements}
    stores = {Term.KINETIC, Term.POTENTIAL, Term.ROPE_STRETCH}
    assert set(books.spent) - elements <= set(Term) and set(books.stored_after) == stores
    assert set(Term) - set(books.spent) - set(books.stored_after) == {Term.SOURCE}
    assert "brushes" in ELECTRICAL and not ELECTRICAL & {*elements, "motor drag"}


def test_books_that_do_not_close_are_kept_again_with_a_tighter_tolerance(monkeypatch):
    import winchsim.simulation as room

    tried = []
    run_once = room._run_once

    def spy(machine, inputs, samples, rtol, *others):
        tried.append(rtol)
        found = run_once(machine, inputs, samples, rtol, *others)
        bad = replace(found.energy, residual=found.energy.scale)
        return replace(found, energy=bad) if len(tried) < 3 else found

    monkeypatch.setattr(room, "_run_once", spy)
    again = simulate(_winch())
    assert again.energy.closes and (again.runs, again.relative_tolerance) == (3, tried[2])
    assert tried[0] > tried[1] > tried[2]
    assert len(tried) == 3


def test_books_that_close_at_once_are_kept_at_the_tolerance_asked_for(record):
    assert (record.relative_tolerance, record.runs) == (RELATIVE_TOLERANCE, 1)
    other = simulate(_winch(), rtol=1e-6)
    assert (other.relative_tolerance, other.runs) == (1e-6, 1)


def test_a_tooth_that_breaks_as_a_new_layer_begins_is_shown_with_what_broke_it():
    stage = Stage(
        kind="planetary",
        ratio=400.0,
        efficiency=0.6,
        shaft_drag=0.0,
        torque_limit=1.02 * 20 * 9.80665 * 0.0085,
    )
    inputs = with_tables(
        Inputs(
            motors=(FOUR_MOTORS,),
            supply=Supply(voltage=6.0),
            stage=(stage,),
            drum=Drum(diameter=0.01, width=0.04),
            rope=Rope(diameter=0.004),
            load=Load(mass=20.0, height=0.4),
        )
    )
    record = simulate(inputs)
    broken = record.first(Event.OVERLOAD)
    assert record.first(Event.LAYER).time == broken.time
    assert record.demands[broken.target.index].share == pytest.approx(broken.value)
    assert record.demands[broken.target.index].time == broken.time
    assert broken.value > 1.0


def test_the_same_scenario_gives_the_same_numbers_to_the_bit(record):
    again = simulate(_winch())
    for name in record.channels:
        assert again[name].tobytes() == record[name].tobytes()


def test_a_machine_can_be_built_once_and_run_often(record):
    assert simulate(build(_winch()))["height"].tobytes() == record["height"].tobytes()


def test_a_record_goes_through_pickle_for_worker_processes(record):
    copy = pickle.loads(pickle.dumps(record))
    assert copy["height"].tobytes() == record["height"].tobytes()
    assert copy.events == record.events and copy.energy.spent == record.energy.spent


def test_integrators_agree_on_what_is_printed(record, monkeypatch):
    monkeypatch.setattr("winchsim.simulation.run", partial(run, method="Radau"))
    other = simulate(_winch())
    assert other.first(Event.TOP).time == pytest.approx(record.first(Event.TOP).time, rel=1e-4)
    assert other["tension"].max() == pytest.approx(record["tension"].max(), rel=1e-3)


@pytest.mark.parametrize(
    ("residual", "error", "closes"),
    [(0.0, 0.0, True), (-2e-4, 1e-4, True), (3e-4, 1.5e-4, False), (np.nan, np.nan, False)],
)
def test_books_close_to_their_limit(residual, error, closes):
    books = EnergyBalance(0.0, {}, {}, {}, residual, 2.0)
    assert books.error == pytest.approx(error, nan_ok=True)
    assert books.closes is closes


def test_books_of_a_lift_that_never_moves_have_a_scale(small):
    """Far too heavy for its train."""
    record = simulate(small(load={"mass": 100.0}, stage=replace(small().stage[0], efficiency=0.3)))
    assert record.energy.scale > 0 and record.energy.closes
