"""Files of figures: the same bytes each time, readable by any browser, harmless whatever the
text."""

import re
import warnings
import xml.dom.minidom
import zlib

import pytest

from winchsim.commands.files import FORMATS
from winchsim.report.figures.catalogue import image, inline_svg, pictures
from winchsim.report.figures.look import COLUMN, SLIDE
from winchsim.report.figures.overlay import DrawnRun, overlay
from winchsim.version import __version__

DIGEST = "0123456789abcdef" * 4
NASTY = 'a "quoted" & <script>alert(1)</script> ]]> $x_1$ 漢字 עברית'


@pytest.mark.parametrize("form", FORMATS)
def test_same_record_same_bytes(lift, form):
    some = slice(None) if form == "svg" else slice(1, 3)
    again = pictures(lift, COLUMN)[some]
    for (words, first), (_, second) in zip(pictures(lift, COLUMN)[some], again, strict=True):
        drawn = image(first, form, COLUMN, DIGEST)
        assert drawn == image(second, form, COLUMN, DIGEST), words.name
    assert drawn == image(first, form, COLUMN, DIGEST), "drawing changes nothing"


def test_files_name_version_and_scenario_and_no_date_in_200_dots_an_inch_and_text_as_text(lift):
    figure = pictures(lift, COLUMN)[1][1]
    svg = image(figure, "svg", COLUMN, DIGEST).decode()
    assert f"winchsim {__version__}" in svg and DIGEST in svg and "dc:date" not in svg
    assert ">Height (m)</text>" in svg and "'DejaVu Sans', Verdana, sans-serif" in svg
    xml.dom.minidom.parseString(svg)
    png = image(figure, "png", COLUMN, DIGEST)
    assert f"winchsim {__version__}".encode() in png and DIGEST.encode() in png
    assert png[:8] == b"\x89PNG\r\n\x1a\n" and int.from_bytes(png[16:20]) == round(86 / 25.4 * 200)
    pdf = image(figure, "pdf", COLUMN, DIGEST)
    assert b"CreationDate" not in pdf and DIGEST.encode() in pdf


def test_any_text_comes_through_harmless_and_without_a_warning(lift):
    figure = overlay([DrawnRun(NASTY, lift)], SLIDE)
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        svg, png = (image(figure, form, SLIDE) for form in ("svg", "png"))
    texts = [
        node.firstChild.data
        for node in xml.dom.minidom.parseString(svg).getElementsByTagName("text")
    ]
    assert any(NASTY[:60] in text for text in texts) and "漢字" in svg.decode()
    assert b"<script" not in svg and zlib.crc32(png)
    assert any(NASTY[:20] in text.get_text() for text in figure.legends[0].get_texts()), (
        "drawing put back what it had changed"
    )


def test_figures_inside_a_page_share_no_id_and_ask_for_nothing(lift):
    drawn = [
        inline_svg(figure, COLUMN, words.name, 'said "so"')
        for words, figure in pictures(lift, COLUMN)
    ]
    ids = [found for svg in drawn for found in re.findall(r'\bid="([^"]*)"', svg)]
    assert len(ids) == len(set(ids)) > 0
    for svg in drawn:
        assert "http" not in svg and "<style" not in svg and "<metadata" not in svg
        assert (
            svg.startswith('<svg class="figure" viewBox=')
            and 'aria-label="said &quot;so&quot;"' in svg
        )
        used = set(re.findall(r'(?:url\(#|href="#)([^")]*)', svg))
        assert used <= set(re.findall(r'\bid="([^"]*)"', svg)) and used
