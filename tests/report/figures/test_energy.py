"""Energy as bars: they are the books, and they add up."""

import pytest

from winchsim.report.figures.energy import energy_bars, energy_ledger
from winchsim.report.figures.look import COLUMN


@pytest.mark.parametrize("name", ["lift", "stall", "break", "jerks"])
def test_bars_add_up_to_what_was_given(records, name):
    books = records[name].energy
    bars, given = energy_bars(books)
    gained = sum(books.stored_after.values()) - sum(books.stored_before.values())
    assert sum(bar.energy for bar in bars) == pytest.approx(given, rel=1e-3)
    assert given >= books.source * (1 - 1e-9) and given >= gained
    assert all(bar.energy > 0 for bar in bars) and len(bars) <= 12


def test_bars_are_the_heads_of_the_balance(lift):
    bars = {bar.name: bar for bar in energy_bars(lift.energy)[0]}
    assert (
        bars["copper"].energy == lift.energy.spent["copper"] and bars["copper"].kind == "electrical"
    )
    assert (
        bars["motor drag"].energy == lift.energy.spent["motor drag"]
        and bars["motor drag"].kind == "mechanical"
    )
    lifted = lift.energy.stored_after["potential"] - lift.energy.stored_before["potential"]
    assert bars["lifting the load"].energy == lifted and bars["lifting the load"].kind == "stored"


def test_figure_names_each_bar_with_joules_and_share(lift):
    bars, given = energy_bars(lift.energy)
    axes = next(axes for axes in energy_ledger(lift, COLUMN).axes if axes.get_xlabel())
    assert axes.get_xlabel() == "Energy (J)"
    assert [label.get_text() for label in axes.get_yticklabels()] == [bar.name for bar in bars]
    assert [patch.get_width() for patch in axes.patches] == [bar.energy for bar in bars]
    for bar, text in zip(bars, axes.texts, strict=True):
        joules, _, share = text.get_text().partition(" J · ")
        assert float(joules) == pytest.approx(bar.energy, rel=0.01)
        assert float(share.removesuffix(" %")) == pytest.approx(
            100 * bar.energy / given, rel=0.01, abs=0.01
        )
    hatches = {bar.kind: patch.get_hatch() for bar, patch in zip(bars, axes.patches, strict=True)}
    assert len(set(hatches.values())) == len(hatches)
