"""Parts of a run against its record, and what a tooth, a rope or a rim is found to be."""

from dataclasses import replace

import pytest

from winchsim import assess, simulate
from winchsim.assessment.kinds import CheckKey, FindingKind, Status
from winchsim.assessment.readings import part_rows
from winchsim.strength.link import LinkKind, LinkState

SHEAR = {"drum": {"cross_pin_diameter": 0.002}}
WEAK_ROPE = {"rope": {"breaking_force": 140.0, "knot_efficiency": 0.5}}
SPUR = {
    "kind": "spur",
    "ratio": None,
    "efficiency": 0.8,
    "pinion": 12,
    "gear": 60,
    "module": 0.001,
    "width": 0.008,
    "material": "PLA",
    "walls": 2,
    "infill": 0.10,
}


def _checked(inputs):
    return assess(simulate(inputs), actions=False, ranges=False)


def _row(rows, kind):
    return next(row for row in rows if row.kind == kind.value)


def test_rows_are_the_demands_of_the_record_worst_first(ran):
    record = ran(**SHEAR).record
    rows, links = part_rows(record, None), record.machine.links
    shares = [row.factor / row.required for row in rows]
    assert shares == sorted(shares)
    found = {row.label: (row.factor, row.time) for row in rows}
    assert found == {
        links[d.link].label: (pytest.approx(1 / d.share), d.time) for d in record.demands
    }
    assert len(found) == len(links)


def test_rope_demand_is_the_peak_tension(ran):
    record = ran().record
    knot = _row(part_rows(record, None), LinkKind.ROPE_KNOT)
    assert knot.demand == pytest.approx(record["tension"].max(), rel=1e-6)
    assert knot.demand > 8.0 * 9.80665, "the bounce at lift-off is in it"


@pytest.mark.parametrize("kind", [LinkKind.ROPE_KNOT, LinkKind.ROPE_ANCHOR, LinkKind.CROSS_PIN])
def test_what_the_rope_settles_is_no_bound(ran, kind):
    assert not _row(part_rows(ran(load={"start_height": 0.1}, **SHEAR).record, None), kind).bound


def test_a_broken_part_fails_by_what_the_lift_would_have_asked_of_it(ran):
    """The same lift on a rope that does not break shows it."""
    rows = part_rows(ran(**WEAK_ROPE).record, None)
    (broke,) = [row for row in rows if row.status is Status.FAILS]
    asked = ran().record["tension"].max()
    assert broke is rows[0] and broke.label == "rope at its knot"
    assert (broke.demand, broke.factor) == pytest.approx((asked, 70.0 / asked), rel=1e-5)


def test_a_part_below_its_required_factor_is_thin(small):
    found = _checked(small(rope={"breaking_force": 400.0, "knot_efficiency": 0.5}))
    check = found.check(CheckKey.PARTS)
    assert check.status is Status.THIN and 1 < check.value < check.required == 7.0
    assert check.about == "rope at its knot"


def test_the_bend_of_a_rope_is_the_drum_over_the_rope_and_at_most_thin(small):
    tough = {"breaking_force": 1e8, "knot_efficiency": 1.0}
    tight, wide = (
        _checked(small(rope={"diameter": d, **tough})).check(CheckKey.ROPE_BEND)
        for d in (0.004, 0.0004)
    )
    assert (tight.value, tight.status) == (pytest.approx(2.5), Status.THIN)
    assert (wide.value, wide.status) == (pytest.approx(25.0), Status.OK)


@pytest.fixture(scope="module")
def printed(small):
    """Maker of the small winch with printed gears of two walls, values of their stage changed."""

    def make(**changes):
        base = small()
        return replace(base, stage=(replace(base.stage[0], **{**SPUR, **changes}),))

    return make


def test_a_thin_rim_is_found_where_it_may_decide(printed):
    found = _checked(printed(bore=0.0555, width=0.002))
    (rim,) = (finding.values for finding in found.findings if finding.kind is FindingKind.RIM_THIN)
    row = next(row for row in found.parts if row.label == rim["part"])
    assert (rim["low"], rim["high"]) == (pytest.approx(row.low), pytest.approx(row.high))
    assert not _checked(printed(bore=0.0555, width=0.002, tested_tooth_force=50.0)).has(
        FindingKind.RIM_THIN
    )


@pytest.mark.parametrize(
    ("changes", "basis"), [({"width": 0.0004}, "tabled"), ({"tested_tooth_force": 1.0}, "tested")]
)
def test_a_tooth_that_breaks_says_what_its_capacity_rests_on(printed, changes, basis):
    found = _checked(printed(**changes))
    (broke,) = (
        finding.values for finding in found.findings if finding.kind is FindingKind.PART_BROKE
    )
    assert (broke["path"], broke["unit"], broke["basis"]) == ("stage.1", "N", basis)
    assert (
        found.target.part
        == broke["part"]
        == found.parts[0].label
        == "pinion tooth of stage 1 (3rd of 3)"
    )
    assert found.parts[0].state in (LinkState.BREAKS, LinkState.MAY_BREAK)
