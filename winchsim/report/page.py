"""The report of a lift as one HTML page that needs nothing else: no network, no script, figures inside.

Whatever comes from the user goes through `plain_text.safe`, which leaves no markup and no control character in it.
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Sequence
from importlib.resources import files
from string import Template

from winchsim.report import tables
from winchsim.report.contents import Report
from winchsim.report.figures.catalogue import Picture
from winchsim.report.figures.save import inline_svg
from winchsim.report.plain_text import harmless, safe
from winchsim.report.us import said
from winchsim.verdict.finding import Finding
from winchsim.version import __version__

LONG_TITLE = 80
"""Titles of more characters than this are set smaller."""


def page(report: Report) -> str:
    """HTML text of a report.

    Parameters
    ----------
    report : Report

    Returns
    -------
    str
        A whole document; the same for the same report.
    """
    verdict_class, words = report.stamp
    template = Template((files("winchsim.report") / "page.html").read_text(encoding="utf-8"))
    style = (files("winchsim.report") / "page.css").read_text(encoding="utf-8")
    return template.substitute(
        style=style,
        title=safe(report.title),
        size="long" if len(report.title) > LONG_TITLE else "short",
        verdict_class=verdict_class,
        stamp=safe(words),
        sentence=_said(report.verdict.sentence, report),
        file=safe(report.scenario.name),
        version=safe(__version__),
        body="\n".join(_sections(report)),
    )


def _said(text: str, report: Report) -> str:
    return safe(said(text, report.us))


# --- sections ---------------------------------------------------------------------------------------------------------


def _sections(report: Report) -> Iterable[str]:
    us, record, verdict = report.us, report.record, report.verdict
    by_name = {picture.name: picture for picture in report.pictures}
    build = by_name.pop("build", None)
    first = [_section("Key numbers", _table((), tables.key_numbers(record, verdict, us=us)))] if verdict.trusted else []
    first.append(
        _section("Timeline", _table(("time", "height", "what happens"), tables.moments(record, us=us), kind="timeline"))
    )
    second = [_section(build.heading, _figure(build), kind="build")] if build is not None else []
    yield '<div class="twin"><div>' + "\n".join(first) + "</div><div>" + "\n".join(second) + "</div></div>"
    curves = [by_name.pop(name) for name in list(by_name) if name != "energy"]
    if curves:
        yield _section("Curves", '<div class="figures">' + "\n".join(_figure(p, h3=True) for p in curves) + "</div>")
    if verdict.trusted:
        yield _section("Margins", _table(("", "reached", "limit", ""), tables.margin_rows(record, verdict, us=us)))
        yield from _strength(report, us)
        energy = by_name.get("energy")
        drawn = _figure(energy) if energy is not None else ""
        table = _table(("head", "energy", "share"), tables.energy_rows(record.energy, us=us), right=(1, 2), kind="narrow")
        yield _section("Energy", f'<div class="beside">{drawn}<div>{table}{_note(tables.energy_remark(record))}</div></div>')
    yield _section("Findings", _findings(verdict.findings, report))
    if verdict.remedies:
        items = [("tried: " if c.confirmed else "tried, does not help: ") + c.sentence for c in verdict.remedies]
        yield _section("Remedies: single changes, each tried in a full run", _list(items, report))
    noted = tables.notes(record.machine, verdict.rows)
    if noted:
        yield _section("Notes", _list(noted, report))
    yield _section("Cautions", _list(verdict.cautions, report), kind="cautions")
    yield _inputs(report, us)
    yield _repeat(report)


def _section(heading: str, body: str, kind: str = "") -> str:
    return f'<section class="{kind}">\n<h2>{safe(heading)}</h2>\n{body}\n</section>'


def _strength(report: Report, us: bool) -> Iterable[str]:
    verdict = report.verdict
    if verdict.rows:
        rows = tables.link_rows(verdict.rows, us=us)
        remarks = "".join(_note(remark) for remark in tables.link_remarks(verdict.rows))
        life = tables.life(report.record)
        said = f"<p>{_said(life, report)}</p>" if life else ""
        yield _section("Weakest links", _table(tables.LINK_HEADS, rows, right=(0, 1)) + remarks + said)
    pull = verdict.stall_pull
    body = f"<p>{_said(pull.sentence, report)}</p>"
    if pull.rows:
        limited = tables.is_limited(pull)
        rows = tables.stall_pull_rows(pull)
        heads = ("factor", "without current limit", "link") if limited else ("factor", "link")
        body += _table(
            heads, rows if limited else [(row[0], row[2]) for row in rows], right=(0, 1) if limited else (0,), kind="narrow"
        )
        body += _note(tables.stall_pull_current(pull))
    if report.snag is not None:
        body += f"<p>{_said(tables.snag_text(report.snag), report)}</p>"
    yield _section("Stalled with the power on", body)


def _findings(findings: Sequence[Finding], report: Report) -> str:
    items = []
    for finding in findings:
        word = finding.severity.value
        item = f'<li class="{word}"><span class="badge">{word}</span> {_said(finding.sentence, report)}'
        if finding.help:
            item += f'<p class="help">What would help: {_said(finding.help, report)}</p>'
        items.append(item + "</li>")
    return f'<ul class="findings">{"".join(items)}</ul>' if items else "<p>None.</p>"


def _inputs(report: Report, us: bool) -> str:
    parts = [
        '<p class="remark">Given: in the scenario or by an option. Assumed: estimated or taken for want of a value. '
        "Default: none of it in this build, or how the run is made.</p>"
    ]
    for table in tables.input_tables(report.scenario.inputs, report.record.machine, us=us):
        rows = [
            (row.path.rpartition(".")[2], row.value, row.basis, "; ".join(p for p in (row.meaning, row.remark) if p))
            for row in table.rows
        ]
        parts.append(f"<h3>{safe(table.name)}</h3>")
        if rows:
            parts.append(_table(("key", "value", "basis", "meaning"), rows, kind="inputs"))
        if table.left_out:
            parts.append(_note("Not given: " + ", ".join(table.left_out) + "."))
    return _section("Every input", "\n".join(parts))


def _repeat(report: Report) -> str:
    scenario = report.scenario
    text = "\n".join(harmless(line) for line in scenario.text.replace("\r\n", "\n").split("\n"))
    rows = [("file", scenario.name), ("SHA-256 of scenario and options", scenario.digest), ("winchsim", __version__)]
    rows += [("changed by option", override) for override in report.overrides]
    rows.append(("command", report.command))
    scenario_text = f'<pre class="scenario" dir="auto">{html.escape(text)}</pre>'
    return _section("To repeat it", _table((), rows, kind="facts") + scenario_text, kind="repeat")


# --- pieces -----------------------------------------------------------------------------------------------------------


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]], right: Sequence[int] = (), kind: str = "") -> str:
    """A table whose cells know their column's name, so that a narrow screen can stack them."""
    lines = [f'<table class="{kind or ("pairs" if not heads else "stacked")}">']
    if heads:
        cells = "".join(f'<th scope="col"{_side(i, right)}>{safe(head)}</th>' for i, head in enumerate(heads))
        lines.append(f"<thead><tr>{cells}</tr></thead>")
    lines.append("<tbody>")
    for row in rows:
        lines.append("<tr>" + "".join(_cell(i, cell, heads, right) for i, cell in enumerate(row)) + "</tr>")
    lines.append("</tbody></table>")
    return "\n".join(lines)


def _cell(column: int, text: str, heads: Sequence[str], right: Sequence[int]) -> str:
    label = f' data-head="{safe(heads[column])}"' if heads and heads[column] else ""
    sort = _side(column, right) if text else ' class="empty"'
    if column == 0 and not heads:
        return f'<th scope="row"{sort}><bdi>{safe(text)}</bdi></th>'
    return f"<td{sort}{label}><bdi>{safe(text)}</bdi></td>"


def _side(column: int, right: Sequence[int]) -> str:
    return ' class="number"' if column in right else ""


def _list(items: Sequence[str], report: Report) -> str:
    return "<ul>" + "".join(f"<li>{_said(item, report)}</li>" for item in items) + "</ul>"


def _note(text: str) -> str:
    return f'<p class="remark">{safe(text)}</p>'


def _figure(picture: Picture, *, h3: bool = False) -> str:
    heading = f"<h3>{safe(picture.heading)}</h3>" if h3 else ""
    drawn = inline_svg(picture.figure, picture.look, picture.name, f"{picture.heading}. {picture.caption}")
    wide, high = picture.figure.get_size_inches()
    tall = " tall" if high > 1.25 * wide and not math.isclose(high, 0) else ""
    return f'<figure class="curve{tall}">{heading}{drawn}<figcaption>{safe(picture.caption)}</figcaption></figure>'
