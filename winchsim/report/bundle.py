"""All files of a report, ready to be written into one folder."""

from collections.abc import Callable
from typing import Any

from winchsim.frozen import replace
from winchsim.report.csv_out import record_csv
from winchsim.report.document import Document, FigureRef
from winchsim.report.figures.catalogue import draw, image, inline_svg, pictures
from winchsim.report.figures.look import COLUMN
from winchsim.report.gear_list import gear_csv, gears_to_print
from winchsim.report.render.html import render_html
from winchsim.report.render.markdown import render_markdown
from winchsim.report.render.options import Options
from winchsim.report.render.text import render_text
from winchsim.scenario.read import Scenario
from winchsim.simulation import Record


def report_files(
    document: Document, scenario: Scenario, record: Record, *, us: bool = False
) -> dict[str, str | bytes]:
    """Content of every file of a lift by its name: page, Markdown, figures, record and gears to
    print.

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
    gears = gears_to_print(scenario.inputs)
    return {
        "report.html": render_html(document, Options(us=us, figures=inline)),
        "report.md": render_markdown(document, Options(us=us, figures=stored)),
        "record.csv": record_csv(record),
        **({"gears.csv": gear_csv(gears)} if gears else {}),
        **{stored[w.name]: image(figure, "png", COLUMN, scenario.digest) for w, figure in drawn},
    }


def study_files(
    document: Document,
    name: str,
    digest: str,
    json: Callable[[], str],
    csv: Callable[[], str] | None = None,
    result: Any = None,
    *,
    us: bool = False,
) -> dict[str, str | bytes]:
    """Content of every file of a study by its name: page, text, data and figure.

    Parameters
    ----------
    document : Document
    name : str
        Of the files.
    digest : str
        SHA-256 of the scenario.
    json, csv : callable
        Texts of these files.
    result : object, optional
        Of the study, which the document's figure shows; left out, nothing is drawn.
    us : bool
        Whether US units are written too.
    """
    look, shown = replace(COLUMN, us=us), [n for n in document.body if isinstance(n, FigureRef)]
    drawn: Any = [(n, draw(n.drawn_by, result, look)) for n in shown if result is not None]
    inline = {n.name: inline_svg(f, COLUMN, n.name, f"{n.heading}. {n.caption}") for n, f in drawn}
    return {
        f"{name}.html": render_html(document, Options(us=us, figures=inline)),
        f"{name}.txt": render_text(document, Options(us=us, full=True)),
        f"{name}.json": json(),
        **({} if csv is None else {f"{name}.csv": csv()}),
        **{f"{name}.{k}": image(f, k, COLUMN, digest) for _, f in drawn for k in ("svg", "png")},
    }
