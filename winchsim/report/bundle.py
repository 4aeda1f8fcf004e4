"""All files of a lift's report, ready to be written into one folder."""

from __future__ import annotations

from winchsim.report.contents import Report
from winchsim.report.csv_out import record_csv
from winchsim.report.figures.catalogue import pictures
from winchsim.report.figures.look import COLUMN
from winchsim.report.figures.save import image
from winchsim.report.markdown import markdown
from winchsim.report.page import page
from winchsim.scenario.read import Scenario
from winchsim.simulation import Record
from winchsim.verdict.finding import Verdict
from winchsim.verdict.snag import SnagStudy


def report_files(
    scenario: Scenario,
    overrides: tuple[str, ...],
    record: Record,
    verdict: Verdict,
    *,
    us: bool = False,
    snag: SnagStudy | None = None,
) -> dict[str, str | bytes]:
    """Content of every file of a report by its name: the page, the Markdown with its figures, the record.

    Parameters
    ----------
    scenario : Scenario
    overrides : tuple of str
        Options that changed it.
    record : Record
    verdict : Verdict
    us : bool
        Whether US units are written too.
    snag : SnagStudy, optional
        What a simulated snag does, where that was asked for.
    """
    drawn = tuple(pictures(record, COLUMN, us=us))
    report = Report(scenario, overrides, record, verdict, drawn, us, snag)
    files: dict[str, str | bytes] = {
        "report.html": page(report),
        "report.md": markdown(report),
        "record.csv": record_csv(record, digest=scenario.digest),
    }
    for picture in drawn:
        files[f"{picture.name}.png"] = image(picture.figure, "png", COLUMN, scenario.digest)
    return files
