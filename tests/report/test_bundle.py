"""All files of a report: named, whole, the same each time."""

from __future__ import annotations

import re

from winchsim.report.bundle import report_files
from winchsim.report.csv_out import record_csv
from winchsim.scenario.read import Scenario


def _files(record, verdict):
    return report_files(Scenario(record.inputs, "small.toml", "# text\n", "ab" * 32), (), record, verdict)


def test_page_markdown_record_and_its_figures(lifted):
    record, verdict = lifted
    files = _files(record, verdict)
    assert {"report.html", "report.md", "record.csv"} <= set(files)
    wanted = set(re.findall(r"\]\(([\w-]+\.png)\)", files["report.md"]))
    assert wanted == {name for name in files if name.endswith(".png")} and len(wanted) >= 7
    assert all(files[name][:4] == b"\x89PNG" for name in wanted)
    assert files["record.csv"] == record_csv(record, digest="ab" * 32)


def test_same_record_same_files(lifted):
    assert _files(*lifted) == _files(*lifted)
