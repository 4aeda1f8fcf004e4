"""All files of a lift's report, ready to be written into one folder."""

from __future__ import annotations

from winchsim.frozen import replace
from winchsim.report.csv_out import record_csv
from winchsim.report.document import Document
from winchsim.report.figures.catalogue import pictures
from winchsim.report.figures.look import COLUMN
from winchsim.report.figures.save import image, inline_svg
from winchsim.report.gear_list import gear_csv, gears_to_print
from winchsim.report.render.html import render_html
from winchsim.report.render.markdown import render_markdown
from winchsim.report.render.options import Options
from winchsim.scenario.read import Scenario
from winchsim.simulation import Record


def report_files(
    document: Document, scenario: Scenario, record: Record, *, us: bool = False
) -> dict[str, str | bytes]:
    """Content of every file of a report by its name: page, Markdown, figures, record and
    gears to print.

    Parameters
    ----------
    document : Document
    scenario : Scenario
    record : Record
    us : bool
        Whether US units are written too.
    """
    drawn = pictures(record, replace(COLUMN, us=us))
    inline = {
        words.name: inline_svg(figure, COLUMN, words.name, f"{words.heading}. {words.caption}")
        for words, figure in drawn
    }
    stored = {words.name: f"{words.name}.png" for words, _ in drawn}
    files: dict[str, str | bytes] = {
        "report.html": render_html(document, Options(us=us, figures=inline)),
        "report.md": render_markdown(document, Options(us=us, figures=stored)),
        "record.csv": record_csv(record),
    }
    if gears := gears_to_print(scenario.inputs):
        files["gears.csv"] = gear_csv(gears)
    for words, figure in drawn:
        files[stored[words.name]] = image(figure, "png", COLUMN, scenario.digest)
    return files
