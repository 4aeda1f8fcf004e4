"""The weakest-link table, and the pull at stall."""

from __future__ import annotations

from dataclasses import replace

import pytest

from winchsim.model import Event, build
from winchsim.simulation import simulate
from winchsim.strength.link import LinkKind
from winchsim.verdict.weakest import stall_pull, weakest_links

SHEAR = {"drum": {"cross_pin_diameter": 0.002}}


def test_rows_are_the_demands_of_the_record_worst_first(ran):
    run = ran(**SHEAR)
    rows = run.case.rows
    assert len(rows) == len(run.record.machine.links)
    assert [row.link.factor for row in rows] == sorted(row.link.factor for row in rows)
    for row in rows:
        asked = run.record.demands[row.place]
        assert row.link.factor == pytest.approx(1 / asked.share)
        assert row.link.time == asked.time


def test_rope_demand_is_the_peak_tension(ran):
    run = ran()
    knot = next(row for row in run.case.rows if row.link.kind is LinkKind.ROPE_KNOT)
    assert knot.link.demand == pytest.approx(run.record["tension"].max(), rel=1e-6)
    assert knot.link.demand > 8.0 * 9.80665, "the bounce at lift-off is in it"


def test_what_the_rope_settles_is_no_bound(ran):
    run = ran(load={"start_height": 0.1}, **SHEAR)
    for row in run.case.rows:
        if row.link.kind in (LinkKind.ROPE_KNOT, LinkKind.ROPE_ANCHOR, LinkKind.CROSS_PIN):
            assert not row.link.bound


def test_the_broken_link_is_marked(ran):
    rows = ran(rope={"breaking_force": 140.0, "knot_efficiency": 0.5}).case.rows
    assert [row.label for row in rows if row.broke] == ["rope at its knot"]
    assert rows[0].broke and rows[0].link.factor == pytest.approx(1.0, abs=1e-6)


def test_stall_pull_by_hand(ideal, make_motor, make_stage):
    """2 motors of 20 mN·m/A at 6 V and 2 ohm on 50:1 at 0.8 and a drum of 10 mm radius pull 480 N at rest: statics."""
    winch = ideal(
        motors=make_motor(2.0, 0.02, count=2), radius=0.01, span=1.0, load={"mass": 4.0}, stages=(make_stage(50.0, 0.8),),
        rope={"breaking_force": 1000.0},
    )  # fmt: skip
    found = stall_pull(build(winch))
    knot = next(row for row in found.rows if row.link.kind is LinkKind.ROPE_KNOT)
    pull = 2 * 0.02 * 3.0 * 50.0 * 0.8 / 0.01
    assert found.current == pytest.approx(6.0)
    assert knot.link.demand == pytest.approx(pull)
    assert knot.link.factor == pytest.approx(1000.0 / pull)
    assert not found.breaks and found.safe_current is None
    assert found.needed_current == pytest.approx(6.0 * 4.0 * 9.81 / pull, rel=1e-6)


def test_safe_current_is_where_the_weakest_link_just_bears(ideal, make_motor, make_stage):
    winch = ideal(
        motors=make_motor(2.0, 0.02, count=2), radius=0.01, span=1.0, load={"mass": 4.0}, stages=(make_stage(50.0, 0.8),),
        rope={"breaking_force": 240.0, "knot_efficiency": 0.5},
    )  # fmt: skip
    found = stall_pull(build(winch))
    assert found.breaks
    assert found.safe_current == pytest.approx(6.0 * 120.0 / 480.0, rel=1e-6)
    assert "can break the rope at its knot before they stall" in found.sentence
    assert "a current limit of 1.50 A would prevent it" in found.sentence
    limited = replace(winch, supply=replace(winch.supply, current_limit=0.99 * found.safe_current))
    saved = stall_pull(build(limited))
    assert not saved.breaks and saved.rows[0].unlimited_factor < 1
    assert "The current limit keeps the motors from breaking a link" in saved.sentence


def test_no_limit_helps_a_link_that_the_load_itself_breaks(ideal, make_motor, make_stage):
    winch = ideal(
        motors=make_motor(2.0, 0.02, count=2), radius=0.01, span=1.0, load={"mass": 4.0}, stages=(make_stage(50.0, 0.8),),
        rope={"breaking_force": 30.0},
    )  # fmt: skip
    assert "no current limit prevents that" in stall_pull(build(winch)).sentence


def test_a_slow_stall_pulls_what_the_balance_says(small):
    """Against the full simulation: the rope of a load that cannot move is pulled taut until the motors stand still."""
    winch = small(
        load={"snag_height": 0.01}, rope={"axial_stiffness": 500.0, "damping_ratio": 0.5}, settings={"stall_watch": 0.2}
    )
    record = simulate(winch)
    stalled = record.first(Event.STALLED)
    assert stalled is not None
    static = next(row for row in stall_pull(record.machine).rows if row.link.kind is LinkKind.ROPE_KNOT).link.demand
    assert record["tension"].max() == pytest.approx(static, rel=1e-4)


def test_links_of_one_record_only(ran):
    assert weakest_links(ran().record) == ran().case.rows
