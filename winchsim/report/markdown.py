"""The report of a lift as Markdown, with its figures beside it: for pasting into a page of one's own."""

from __future__ import annotations

import re
from collections.abc import Sequence

from winchsim.report import tables
from winchsim.report.contents import Report
from winchsim.report.plain_text import harmless
from winchsim.report.us import said
from winchsim.version import __version__

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>()#+!|~&$^-])")


def markdown(report: Report, suffix: str = "png") -> str:
    """Markdown text of a report.

    Parameters
    ----------
    report : Report
    suffix : str
        Ending of the figures' files, which stand in the same folder under the pictures' names.

    Returns
    -------
    str
        Tables with pipes; nothing of the user's is markup in it.
    """
    return "\n".join(_lines(report, suffix)).rstrip() + "\n"


def plain(text: str) -> str:
    """Text of any origin without a meaning in Markdown or HTML, on one line."""
    return _SPECIAL.sub(r"\\\1", harmless(text.replace("\n", " ")))


def fenced(text: str) -> str:
    """Text as it stands, in a fence longer than any run of backticks in it."""
    longest = max((len(run) for run in re.findall(r"`+", text)), default=0)
    fence = "`" * max(3, longest + 1)
    body = "\n".join(harmless(line) for line in text.replace("\r\n", "\n").rstrip("\n").split("\n"))
    return f"{fence}toml\n{body}\n{fence}"


def _lines(report: Report, suffix: str) -> list[str]:
    us, record, verdict = report.us, report.record, report.verdict
    _, words = report.stamp
    lines = [f"# {plain(report.title)}", "", f"**{plain(said(verdict.sentence, us))}** ({plain(words)})", ""]
    pictures = {picture.name: picture for picture in report.pictures}
    if verdict.trusted:
        lines += ["## Key numbers", "", *_table(("", ""), tables.key_numbers(record, verdict, us=us))]
    lines += ["## Timeline", "", *_table(("time", "height", "what happens"), tables.moments(record, us=us))]
    for name, picture in pictures.items():
        lines += [
            f"## {plain(picture.heading)}",
            "",
            f"![{plain(picture.heading)}]({name}.{suffix})",
            "",
            plain(picture.caption),
            "",
        ]
    if verdict.trusted:
        lines += ["## Margins", "", *_table(("", "reached", "limit", ""), tables.margin_rows(record, verdict, us=us))]
        lines += _strength(report, us)
        lines += ["## Energy", "", *_table(("head", "energy", "share"), tables.energy_rows(record.energy, us=us))]
        lines += [plain(tables.energy_remark(record)), ""]
    lines += ["## Findings", ""]
    for finding in verdict.findings:
        aid = f" What would help: {plain(said(finding.help, us))}" if finding.help else ""
        lines.append(f"- **{finding.severity.value}:** {plain(said(finding.sentence, us))}{aid}")
    if verdict.remedies:
        lines += ["", "## Remedies: single changes, each tried in a full run", ""]
        lines += [f"- {'' if c.confirmed else 'does not help: '}{plain(said(c.sentence, us))}" for c in verdict.remedies]
    noted = tables.notes(record.machine, verdict.rows)
    lines += ["", "## Notes", "", *(f"- {plain(said(note, us))}" for note in noted)] if noted else []
    lines += ["", "## Cautions", "", *(f"- {plain(said(caution, us))}" for caution in verdict.cautions), ""]
    return lines + _inputs(report, us) + _repeat(report)


def _strength(report: Report, us: bool) -> list[str]:
    verdict = report.verdict
    lines = []
    if verdict.rows:
        lines += ["## Weakest links", "", *_table(tables.LINK_HEADS, tables.link_rows(verdict.rows, us=us))]
        lines += [plain(remark) + "  " for remark in tables.link_remarks(verdict.rows)] + [""]
        lines += [plain(said(tables.life(report.record), us)), ""]
    lines += ["## Stalled with the power on", "", plain(said(verdict.stall_pull.sentence, us)), ""]
    if verdict.stall_pull.rows:
        heads = ("factor", "without current limit", "link")
        lines += _table(heads, tables.stall_pull_rows(verdict.stall_pull))
        lines += [plain(tables.stall_pull_current(verdict.stall_pull)), ""]
    if report.snag is not None:
        lines += [plain(said(tables.snag_text(report.snag), us)), ""]
    return lines


def _inputs(report: Report, us: bool) -> list[str]:
    rows = [
        (row.path, row.value, row.basis, "; ".join(p for p in (row.meaning, row.remark) if p))
        for table in tables.input_tables(report.scenario.inputs, report.record.machine, us=us)
        for row in table.rows
    ]
    return ["## Every input", "", *_table(("path", "value", "basis", "meaning"), rows)]


def _repeat(report: Report) -> list[str]:
    rows = [
        ("file", report.scenario.name),
        ("SHA-256", report.scenario.digest),
        ("winchsim", __version__),
        ("command", report.command),
    ]
    return ["## To repeat it", "", *_table(("", ""), rows), fenced(report.scenario.text)]


def _table(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> list[str]:
    lines = [f"| {' | '.join(heads)} |", f"|{' --- |' * len(heads)}"]
    lines += [f"| {' | '.join(plain(cell) for cell in row)} |" for row in rows]
    return [*lines, ""]
