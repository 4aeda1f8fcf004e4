"""Energy as bars: they are the books, and they add up."""

import pytest

from winchsim.report.figures.energy import energy_bars, energy_ledger
from winchsim.report.figures.look import COLUMN


@pytest.mark.parametrize("name", ["lift", "stall", "break", "jerks"])
def test_bars_add_up_to_what_was_given(records, name):
    books = records[name].energy
    bars, given = energy_bars(books)
    gained = sum(books.stored_after.values()) - sum(books.stored_before.values())
    assert sum(energy for _, energy, _ in bars) == pytest.approx(given, rel=1e-3)
    assert given >= books.source * (1 - 1e-9) and given >= gained
    assert all(energy > 0 for _, energy, _ in bars) and len(bars) <= 12


def test_bars_are_the_heads_of_the_balance(lift):
    bars = {name: (energy, kind) for name, energy, kind in energy_bars(lift.energy)[0]}
    spent = lift.energy.spent
    assert bars["copper"] == (spent["copper"], "electrical heat")
    assert bars["motor drag"] == (spent["motor drag"], "friction")
    lifted = lift.energy.stored_after["potential"] - lift.energy.stored_before["potential"]
    assert bars["lifting the load"] == (lifted, "stored")


def test_figure_names_each_bar_with_joules_and_share(lift):
    bars, given = energy_bars(lift.energy)
    axes = next(axes for axes in energy_ledger(lift, COLUMN).axes if axes.get_xlabel())
    assert axes.get_xlabel() == "Energy (J)"
    assert [label.get_text() for label in axes.get_yticklabels()] == [name for name, _, _ in bars]
    assert [patch.get_width() for patch in axes.patches] == [energy for _, energy, _ in bars]
    for (_, energy, _), text in zip(bars, axes.texts, strict=True):
        joules, _, share = text.get_text().partition(" J · ")
        assert float(joules) == pytest.approx(energy, rel=0.01)
        assert float(share.removesuffix(" %")) == pytest.approx(
            100 * energy / given, rel=0.01, abs=0.01
        )
    hatches = {
        kind: patch.get_hatch() for (_, _, kind), patch in zip(bars, axes.patches, strict=True)
    }
    assert len(set(hatches.values())) == len(hatches)
