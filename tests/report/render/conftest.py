"""A document with every kind of node, as small as can be."""

import pytest

from winchsim.report.document import (
    Document,
    Face,
    FigureRef,
    FindingText,
    Headline,
    Items,
    Listing,
    Mark,
    Paragraph,
    Section,
    Table,
    Value,
    say,
)

THIN, OK = Mark("thin", "warn"), Mark("ok", "good")


def _row(label, value, unit, low, high, limit, mark, **more):
    ends = {"low": low, "high": high, "limit": limit, **more}
    return (
        label,
        Value(value, unit, **ends, face=Face.VALUE),
        Value(value, unit, **ends, face=Face.RANGE),
        Value(limit, unit) if limit is not None else "",
        mark,
    )


@pytest.fixture
def document():
    columns = ("quantity", "value", "range", "limit", "status")
    rows = (
        _row("lift time", 28.2, "s", 25.6, 33.1, None, OK),
        _row("holding margin", 1.149, "", 0.951, 1.402, 1.0, THIN, sign="×"),
        _row("speed | odd", 0.0213, "mm/s", None, None, None, OK),
    )
    sentence = say("Lifts {} by {} <b>*now*</b>.", Value(14.0, "kg"), Value(0.6, "m"))
    long = say(
        "A long note that has to be wrapped before the number {} at its end.", Value(1234.5, "N")
    )
    return Document(
        "Crate & Co",
        "crate.toml",
        (
            Headline(THIN, "1 of 3", sentence, say("crate.toml · not rated")),
            Table(columns, rows, spare=((1, 2), (1, 0)), name="checks"),
            Paragraph(say("the shaft breaks first."), label="If it jams:"),
            Items((say("Fit a brake."), say("Less load.")), ordered=True),
            Paragraph(say("Keep clear."), faint=True),
            FigureRef("build", "The build", "Gears to scale."),
            Section(
                "Findings",
                (FindingText(THIN, say("The rope bends tightly."), say("A thicker drum.")),),
            ),
            Section(
                "Notes", (Items((long,)), FigureRef("energy", "Energy", "Shares.")), details=True
            ),
            Section("File", (Listing("a = '<1>'\n``` b", "toml"),), details=True),
        ),
        more="winchsim lift crate.toml --full",
    )
