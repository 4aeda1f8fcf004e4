"""Type measured, labels spread, settings put back."""

from __future__ import annotations

import contextlib

import matplotlib as mpl
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from winchsim.report.figures.look import (
    COLUMN,
    LOOKS,
    SERIES,
    SLIDE,
    blank,
    box,
    drawing,
    fitted,
    folded,
    has_glyph,
    plain_ticks,
    quantity_label,
    size_mm,
    text_width,
)


def test_drawing_leaves_the_settings_as_they_were():
    before = dict(mpl.rcParams)
    with contextlib.suppress(ZeroDivisionError), drawing(COLUMN):
        assert (
            mpl.rcParams["svg.hashsalt"] == "winchsim" and mpl.rcParams["font.size"] == COLUMN.font
        )
        _ = 1 / 0
    assert dict(mpl.rcParams) == before


def test_sizes_are_those_of_a_column_and_of_a_slide():
    assert {name: look.width for name, look in LOOKS.items()} == {"column": 86.0, "slide": 254.0}
    assert pytest.approx(25.4 * 7 / 72) == COLUMN.em
    assert SLIDE.font >= 2 * COLUMN.font


def test_width_of_type_is_that_of_the_typeface():
    """The digits of the typeface are 1303 of 2048 units wide, the blank 651: its own table of
    advances."""
    assert text_width("0", COLUMN) == pytest.approx(1303 / 2048 * COLUMN.em, rel=1e-3)
    assert text_width("00 00", COLUMN) == pytest.approx(
        (4 * 1303 + 651) / 2048 * COLUMN.em, rel=1e-3
    )
    assert text_width("漢", COLUMN) == COLUMN.em and not has_glyph("漢")


def test_long_text_is_cut_with_an_ellipsis_or_folded():
    cut = fitted("a very long title of a scenario", 20.0, COLUMN)
    assert cut.endswith("…") and text_width(cut, COLUMN) <= 20.0
    assert fitted("short", 20.0, COLUMN) == "short"
    lines = folded("a very long title of a scenario", 20.0, COLUMN, 2)
    assert len(lines) == 2 and all(text_width(line, COLUMN) <= 20.0 for line in lines)
    assert folded("unbreakable" * 9, 20.0, COLUMN)[-1].endswith("…")


def test_ticks_have_no_exponent_and_no_offset():
    with drawing(COLUMN):
        figure = blank(COLUMN, 50.0)
        axes = box(figure, 20.0, 10.0, 60.0, 30.0)
        axes.set(xlim=(0, 250_000), ylim=(1000.0, 1000.01))
        plain_ticks(axes, COLUMN)
        FigureCanvasAgg(figure).draw()
    texts = [t.get_text() for t in (*axes.get_xticklabels(), *axes.get_yticklabels())]
    assert "200000" in texts and "1000.002" in texts
    assert not any("e" in text for text in texts) and axes.yaxis.get_offset_text().get_text() == ""
    assert size_mm(axes) == pytest.approx((60.0, 30.0))


def test_lines_differ_without_colour():
    assert len({str(dashes) for _, dashes in SERIES}) == len(SERIES)


def test_axis_label_has_its_unit_in_brackets():
    assert (
        quantity_label("Height", "m") == "Height (m)"
        and quantity_label("Tooth factor", "") == "Tooth factor"
    )
