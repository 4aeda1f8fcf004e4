"""All files of a report, ready to be written into one folder."""

from collections.abc import Callable
from typing import Any

import numpy as np

from winchsim.frozen import replace
from winchsim.quantity_text import CSV_DIGITS, key
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

PLACES = 9
"""Digits behind the point of a time: samples that are nearer are one row. [-]"""


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


def record_csv(record: Record) -> str:
    """CSV text of a record.

    Parameters
    ----------
    record : Record

    Returns
    -------
    str
        The heads, then the samples: those at ``settings.sample_step`` where the scenario gives one,
        else all of the record. Time rises from row to row: at a switch the row holds what follows
        it. ``phase`` and ``segment`` count from 1; ``held`` is 1 where the drum is at rest and the
        tooth forces are bounds. Cells without a finite number are empty.
    """
    record = record.sampled or record
    channels = record.channels.values()
    heads = [key("time", "s"), "phase", "segment", "held", *(key(c.name, c.unit) for c in channels)]
    time = np.round(record.time, PLACES)
    columns = [
        time,
        record.phase + 1,
        np.searchsorted(record.segment_starts, np.arange(len(time)), side="right"),
        record.bound.astype(int),
        *(channel.values for channel in channels),
    ]
    kept = np.append(np.diff(time) > 0, True)
    row = "%.15g,%d,%d,%d" + f",%.{CSV_DIGITS}g" * len(channels)
    lines = [row % v for v in zip(*(column[kept].tolist() for column in columns), strict=True)]
    if not all(np.isfinite(column).all() for column in columns):
        lines = [
            ",".join("" if cell in ("nan", "inf", "-inf") else cell for cell in line.split(","))
            for line in lines
        ]
    return "\n".join([",".join(heads), *lines]) + "\n"
