"""Sizes, ticks and wrapping; settings put back."""

import contextlib

import matplotlib as mpl
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from winchsim.report.figures.look import (
    COLUMN,
    LOOKS,
    SLIDE,
    drawing,
    folded,
    quantity_label,
    stack,
)


def test_drawing_leaves_the_settings_as_they_were():
    before = dict(mpl.rcParams)
    with contextlib.suppress(ZeroDivisionError), drawing(COLUMN):
        assert mpl.rcParams["svg.hashsalt"] == "winchsim"
        assert mpl.rcParams["font.size"] == COLUMN.font
        _ = 1 / 0
    assert dict(mpl.rcParams) == before


def test_sizes_are_those_of_a_column_of_two_columns_and_of_a_slide():
    widths = {name: look.width for name, look in LOOKS.items()}
    assert widths == {"column": 86.0, "page": 178.0, "slide": 254.0}
    assert pytest.approx(25.4 * 7 / 72) == COLUMN.em
    assert SLIDE.font >= 2 * COLUMN.font


def test_long_text_is_folded_and_cut_with_an_ellipsis():
    lines = folded("a very long title of a scenario " * 6, COLUMN, most=2)
    assert len(lines) == 2 and lines[-1].endswith("…")
    assert len(folded("漢" * 40, COLUMN, most=3)[0]) < 40
    assert folded("short", COLUMN) == ["short"]


@pytest.mark.parametrize("look", LOOKS.values(), ids=LOOKS)
@pytest.mark.parametrize("count", [1, 3])
def test_a_figure_keeps_about_to_the_height_of_its_look(look, count):
    figure, _ = stack(look, [1.0] * count, 4)
    assert 25.4 * figure.get_size_inches()[1] < 1.1 * look.most_height


def test_text_takes_the_same_room_at_every_resolution():
    """The layout is settled once, whatever resolution the figure is saved at."""
    with drawing(COLUMN):
        text = (figure := Figure()).text(0, 0, "bearings of stage 1 (2nd of 2)")
        widths = []
        for figure.dpi in (50, 80, 100, 200, 300):
            extent = text.get_window_extent(FigureCanvasAgg(figure).get_renderer())
            widths.append(extent.width / figure.dpi)
    assert max(widths) == pytest.approx(min(widths), rel=0.01)


def test_ticks_have_no_exponent_and_no_offset():
    with drawing(COLUMN):
        figure, (axes,) = stack(COLUMN, [1.0])
        axes.set(xlim=(0, 250_000), ylim=(1000.0, 1000.01))
        FigureCanvasAgg(figure).draw()
    texts = [t.get_text() for t in (*axes.get_xticklabels(), *axes.get_yticklabels())]
    assert "200000" in texts and "1000.002" in texts
    assert not any("e" in text for text in texts)
    assert axes.yaxis.get_offset_text().get_text() == ""


def test_axis_label_has_its_unit_in_brackets():
    assert quantity_label("Height", "m") == "Height (m)"
    assert quantity_label("Tooth factor", "") == "Tooth factor"
