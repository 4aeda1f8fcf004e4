"""A kind of link that does not exist is added as the guide for contributors says: everything that
follows, follows."""

import pytest

from winchsim import assess, simulate
from winchsim.assessment.kinds import CheckKey, FindingKind, Status
from winchsim.model import build, links
from winchsim.report.words.details import part_table
from winchsim.strength.link import LINKS, LinkKind, LinkWords, Strength
from winchsim.studies.calibrate import LiftTest, look_into
from winchsim.studies.sizing import size

SHACKLE = LinkWords("shackle at the load", ("shackle", "bow"), "rope")


@pytest.fixture
def shackle(monkeypatch):
    """Maker of the breaking force of a shackle that every winch has from now on."""
    kind = str.__new__(LinkKind, "shackle")
    kind._name_, kind._value_ = "SHACKLE", "shackle"
    monkeypatch.setitem(LinkKind._member_map_, "SHACKLE", kind)
    monkeypatch.setitem(LinkKind._value2member_map_, "shackle", kind)
    monkeypatch.setattr(LinkKind, "_member_names_", [*LinkKind._member_names_, "SHACKLE"])
    monkeypatch.setitem(LINKS, kind, SHACKLE)
    rope_links = links._rope_links

    def bearing(force: float) -> LinkKind:
        def with_shackle(inputs):
            strength = Strength(force, "N", "given", 0.9 * force, 1.1 * force)
            return [
                *rope_links(inputs),
                links.link_limit(inputs, kind, "rope", "tension", strength),
            ]

        monkeypatch.setattr(links, "_rope_links", with_shackle)
        return kind

    return bearing


def test_it_is_guarded_and_told(shackle, small):
    kind = shackle(100.0)
    assert list(LinkKind)[-1] is kind
    found = assess(simulate(small(load={"mass": 12.0})), actions=False)
    finding = next(each for each in found.findings if each.kind is FindingKind.PART_BROKE)
    assert finding.values["part"] == found.target.part == "shackle at the load"
    parts = found.parts
    assert "shackle" in {part.kind for part in parts}
    assert "shackle at the load" in {row[0] for row in part_table(parts).rows}


def test_studies_check_it(shackle, small):
    assert "shackle at the load" not in set(size(small(), "drum").sweep.parts)
    shackle(100.0)
    found = size(small(), "drum").sweep
    column = found.check(CheckKey.PARTS)
    assert set(found.parts) == {"shackle at the load"} and (column.rank == Status.THIN.rank).any()


def test_what_is_noted_of_a_test_finds_it(shackle, small):
    shackle(150.0)
    inputs = small()
    broken = look_into(
        inputs,
        LiftTest(
            number=1,
            mass=8.0,
            height=0.1,
            outcome="broke",
            broke_link="the bow of the shackle bent open",
        ),
    )
    assert broken.at.link.label == "shackle at the load" and 8 * 9.8 < broken.at.demand < 150.0
    assert [link.label for link in build(inputs).links][-1] == "shackle at the load"
