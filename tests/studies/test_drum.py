"""The drum study: candidates, band, recommendation and its confirmation."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from winchsim.errors import DomainError
from winchsim.inputs import with_value
from winchsim.simulation import simulate
from winchsim.studies.drum import STOCK, edge_words, rows_to_show, study_drum
from winchsim.verdict.candidates import Wanted
from winchsim.verdict.finding import FindingKind


@pytest.fixture(scope="module")
def study(small):
    return study_drum(small(title="Small winch"))


def test_two_hundred_candidates_and_the_sizes_that_can_be_bought(study):
    assert len(study.diameters) >= 200 and np.all(np.diff(study.diameters) > 1e-8)  # none twice, by a rounding error apart
    low, high = study.diameters[0], study.diameters[-1]
    assert {size for size in STOCK if low <= size <= high} <= set(study.diameters.tolist())
    assert low == pytest.approx(0.002)  # the rope's diameter
    assert study.choice.lifts.stall_margin_cold[-1] < 1  # the range reaches to the stall


def test_the_band_is_named_with_what_bounds_it(study):
    band = study.choice.band
    assert band.low.beyond is None and "nothing was tried" in edge_words(band.low, "below")
    assert band.high.limit in ("margin to stall", "margin with hot windings")
    assert "torque that starts it" in edge_words(band.high, "above")
    assert f"Drums from {1000 * band.low.value:.2f} mm" in study.sentence


def test_the_recommended_size_can_be_bought_and_comes_up_in_full(study, small):
    index = study.choice.recommended
    diameter = float(study.diameters[index])
    assert study.stock and diameter in STOCK and study.choice.good
    assert study.choice.judged.works[index]
    run = study.choice.confirmation
    assert run.sound and abs(run.difference) < 0.01
    again = simulate(with_value(small(), "drum.diameter", diameter))
    assert run.verdict.summary.lift_time == pytest.approx(again.time[np.argmax(again["height"])], rel=0.05)
    assert "leaves the most room" in study.reason or "comes nearest" in study.reason


def test_of_the_sizes_none_leaves_clearly_more_room(study):
    judged, index = study.choice.judged, study.choice.recommended
    sold = np.isin(study.diameters, STOCK) & judged.works
    if judged.keeps_every_limit[sold].any():
        sold &= judged.keeps_every_limit
    assert judged.room[index] >= judged.room[sold].max() * 0.94


def test_both_edges_are_run_in_full(study):
    ran = {float(study.diameters[run.index]) for run in study.choice.runs}
    assert {study.choice.band.low.value, study.choice.band.high.value} <= ran
    assert study.choice.largest_difference < 0.02


def test_progress_counts_the_full_runs(small):
    told = []
    study = study_drum(small(), low=0.006, high=0.012, on_progress=lambda done, total: told.append((done, total)))
    assert [done for done, _ in told] == list(range(1, len(study.choice.runs) + 1))
    assert told[-1][0] == told[-1][1]


def test_a_target_time_bounds_it_from_below(small):
    free = study_drum(small(load={"mass": 4.0}))
    quick = study_drum(small(load={"mass": 4.0}), Wanted(target_time=3.0))
    assert quick.choice.band.low.value > free.choice.band.low.value
    assert quick.choice.band.low.limit == "lift time" and "the target is 3.00 s" in quick.choice.band.low.reason


def test_more_margin_makes_the_band_narrower(small):
    wide, narrow = study_drum(small(), Wanted(margin=1.0)), study_drum(small(), Wanted(margin=1.8))
    assert narrow.choice.band.high.value < wide.choice.band.high.value


def test_nothing_works(small):
    study = study_drum(small(load={"mass": 40.0}))
    assert study.choice.recommended is None and study.choice.band is None and not study.choice.good
    assert study.sentence.startswith("No drum between ") and "which comes nearest" in study.sentence
    assert study.choice.runs  # the nearest one is run in full all the same
    assert study.reason == ""


def test_a_snag_is_left_out_and_that_is_said(small):
    study = study_drum(small(load={"snag_height": 0.05}))
    assert study.choice.recommended is not None
    assert [f.kind for f in study.choice.findings][-1] is FindingKind.SNAGGED


def test_an_empty_range_is_refused(small):
    with pytest.raises(DomainError, match="a range that grows"):
        study_drum(small(), low=0.02, high=0.01)


def test_a_narrow_range_without_a_stock_size_gives_one_that_can_be_turned(small):
    study = study_drum(small(), low=0.0062, high=0.0078)
    diameter = float(study.diameters[study.choice.recommended])
    assert not study.stock and "turned" in study.reason
    assert diameter * 2000 == pytest.approx(round(diameter * 2000))


def test_inch_sizes_count_on_request(small):
    study = study_drum(small(), low=0.0061, high=0.0066, inch=True)
    assert study.diameters[study.choice.recommended] == pytest.approx(0.25 * 0.0254)


def test_rows_in_print_hold_the_recommended_the_edges_and_the_scenarios_own(study):
    rows = rows_to_show(study)
    shown = set(study.diameters[rows].tolist())
    assert rows == sorted(rows) and len(rows) < 25
    assert {study.choice.band.high.value, float(study.diameters[study.choice.recommended]), 0.010} <= shown


def test_holds_on_thin_drums_only(small):
    between = small(stage=dataclasses.replace(small().stage[0], efficiency=0.9, reverse_efficiency=0.85), load={"mass": 6.0})
    study = study_drum(between, low=0.003, high=0.03)
    holding = study.choice.lifts.holding
    assert list(holding) == sorted(holding, reverse=True)  # a thicker drum never holds better
    assert study.holds_up_to is not None and 0.003 < study.holds_up_to < 0.03
