"""A ladder of test loads as text, JSON, the sheet to print and fill in (one HTML page), and the test sheet as CSV."""

from __future__ import annotations

from collections.abc import Iterable
from importlib.resources import files
from itertools import groupby
from string import Template
from typing import Any

from winchsim.model.estimate import raising_phase
from winchsim.quantity_text import number, quantity
from winchsim.report.json_out import finding_facts
from winchsim.report.json_text import document
from winchsim.report.lines import Lines
from winchsim.report.paint import Paint
from winchsim.report.plain_text import harmless, safe
from winchsim.report.si_keys import key
from winchsim.report.us import beside_us
from winchsim.scenario.sheet import SheetOrigin, SheetRow, origin_line, write_sheet
from winchsim.studies.ladder import Ladder, Rung
from winchsim.verdict.cautions import short
from winchsim.verdict.words import duration, given, length, percent, speed
from winchsim.version import __version__

_PLAIN = Paint()

CLOSE_UP = 8
"""Rungs beyond which the rows of the sheet close up, so that it stays on one page. [-]"""


def ladder_text(ladder: Ladder, *, name: str = "", us: bool = False, paint: Paint = _PLAIN) -> str:
    """Report of a ladder as text; the answer is the first line.

    Parameters
    ----------
    ladder : Ladder
    name : str
        File of the scenario, as the user typed it.
    us : bool
        Whether to print US units beside the SI ones.
    paint : Paint
        Colours.
    """
    out = Lines(us, paint)
    out.sentence(ladder.sentence, paint.good if ladder.good else paint.bad)
    out.sentence(": ".join(part for part in (name, ladder.machine.title) if part), paint.faint)
    out.heading("Rungs")
    rows = [("#", "load", "rest", "time", "current", "voltage", "winding", "factor", "off", "stop over", "")]
    for rung in ladder.rungs:  # windings in °C alone: °F as well would burst the table
        rows.append((str(rung.number), out.said(load_text(rung)), rest_text(rung), _time(rung.lift_time),
                     _q(rung.current, "A"), _q(rung.voltage, "V"), quantity(rung.winding_end, "°C"),
                     number(rung.factor, 2) if rung.weakest else "", held_text(rung),
                     f"{_time(rung.stop_time)} {_q(rung.stop_current, 'A')}" if rung.up else "", rung.verdict))  # fmt: skip
    out.table(rows, "rrrrrrrr r")
    out.sentence(
        "current: of the supply, voltage: at the motors, both halfway up; factor: of the weakest link; off: what the load does "
        "with the power off, at rest: it holds until a knock; caution: a link has less than its required factor.",
        indent="  ",
    )  # fmt: skip
    out.heading("Down again, and a fall")
    for rung in ladder.rungs[1:]:
        out.item("-", f"Rung {rung.number}, {given(rung.mass, 'kg')}: {rung.lowering.words}{_fall(rung)}")
    out.heading("If it stalls")
    for line in stall_lines(ladder):
        out.item("-", line)
    out.heading("Weigh and measure first")
    for line in ladder.measure_first:
        out.item("-", line)
    out.heading("Print settings that the prediction rests on")
    for line in ladder.prints or ("no printed gears",):
        out.item("-", line)
    if ladder.largest_difference is not None:
        out.heading("Checked")
        out.sentence(
            "Every loaded rung was run in full; the quasi-static model's lift times differ by up to "
            f"{percent(ladder.largest_difference, 1)}.", indent="  ",
        )  # fmt: skip
    out.findings(ladder.findings)
    out.cautions(ladder.cautions)
    return out.text()


def load_text(rung: Rung) -> str:
    """Load of a rung for people."""
    return "nothing" if rung.mass == 0 else given(rung.mass, "kg")


def rest_text(rung: Rung) -> str:
    """Rest before a rung for people."""
    return "-" if rung.rest_before == 0 else f"{rung.rest_before / 60:.0f} min"


def held_text(rung: Rung) -> str:
    """What the load does with the power off, in a word."""
    if rung.held is None:
        return ""
    return ("holds" if rung.knock_proof else "at rest") if rung.held else "back"


def _time(value: float | None) -> str:
    return "-" if value is None else duration(value)


def _q(value: float | None, unit: str) -> str:
    return "-" if value is None else quantity(value, unit)


def _fall(rung: Rung) -> str:
    if not rung.up:
        return ""
    return (
        f" From the top it falls with {quantity(rung.fall_energy, 'J')}; onto a catch no more than "
        f"{length(rung.catch_gap)} below it, with {quantity(rung.catch_energy, 'J', 2)}."
    )


def stall_lines(ladder: Ladder) -> list[str]:
    """What to do when the load stops."""
    cut = min(rung.cut for rung in ladder.rungs)
    rest = max(60.0, max(rung.rest_before for rung in ladder.rungs))
    gap = max(rung.catch_gap for rung in ladder.rungs)
    return [
        f"Power off within {quantity(cut, 's', 2)}: a stalled motor heats at once. Do not try again and again.",
        f"Wait {rest / 60:.0f} min or until the motors are hand-warm.",
        "Do not reach under the load: prop it or hang it on the second line first, then look for the cause.",
        f"Catch height: blocks or a stand follow under the load, never more than {length(gap)} below it.",
    ]


def down_lines(ladder: Ladder) -> list[str]:
    """How the loads come down, rungs that come down alike put together; and what a fall would do."""
    up = [rung for rung in ladder.rungs[1:] if rung.up]
    if not up:
        return ["No load comes up."]
    lines = []
    for _, group in groupby(up, key=lambda rung: rung.lowering.descent):
        rungs = list(group)
        first, last = rungs[0], rungs[-1]
        if first is last:
            lines.append(f"{given(first.mass, 'kg')}: {first.lowering.words}")
        else:
            lines.append(f"{given(first.mass, 'kg')}: {first.lowering.words} To {given(last.mass, 'kg')} alike: {_how(last)}.")
    energies = f"{quantity(up[0].fall_energy, 'J')}" + (f" to {quantity(up[-1].fall_energy, 'J')}" if len(up) > 1 else "")
    lines.append(
        f"A fall from the top: {energies}, {quantity(up[-1].fall_speed, 'm/s')}; onto a catch no more than "
        f"{length(up[-1].catch_gap)} below: up to {quantity(up[-1].catch_energy, 'J', 2)}."
    )
    far = max(rung.coast for rung in up)
    if far > 1e-3:
        lines.append(f"Switch off early: up to {length(far)} it coasts on.")
    return lines


def _how(rung: Rung) -> str:
    down = rung.lowering
    parts = [_time(down.time)] + ([quantity(down.current, "A")] if down.current else [])
    return ", ".join([*parts, *([f"up to {speed(down.speed)}"] if down.speed else [])])


# --- machines -------------------------------------------------------------------------------------------------------

_UNITS = {
    "number": "", "mass": "kg", "up": "", "sound": "", "sentence": "", "lift_time": "s", "current": "A", "voltage": "V",
    "winding_start": "°C", "winding_end": "°C", "weakest": "", "factor": "", "required_factor": "", "held": "",
    "knock_proof": "", "coast": "m", "stop_time": "s", "stop_current": "A", "cut": "s", "rest_before": "s", "fall_energy": "J",
    "fall_speed": "m/s", "catch_gap": "m", "catch_energy": "J",
}  # fmt: skip
"""Unit of every number of a rung, in the order of the output."""


def ladder_json(ladder: Ladder, digest: str | None = None) -> str:
    """JSON text of a ladder."""
    return document(
        digest=digest,
        verdict=ladder.sentence,
        findings=[finding_facts(finding) for finding in ladder.findings],
        cautions=ladder.cautions,
        rows=[rung_facts(rung) for rung in ladder.rungs],
        measure_first=ladder.measure_first,
        prints=ladder.prints,
        largest_difference=ladder.largest_difference,
    )


def rung_facts(rung: Rung) -> dict[str, Any]:
    """A rung as plain data."""
    facts = {key(name, unit): getattr(rung, name) for name, unit in _UNITS.items()}
    down = rung.lowering
    facts["verdict"] = rung.verdict
    facts["lowering"] = {
        "how": down.descent.value, "time_s": down.time, "current_a": down.current, "speed_m_s": down.speed, "words": down.words,
    }  # fmt: skip
    return facts


def title_on_sheet(title: str) -> str:
    """Title of a scenario on one line."""
    return " ".join(harmless(title).split()) or "a winch"


def ladder_csv(ladder: Ladder, *, us: bool = False, digest: str = "") -> str:
    """The test sheet of a ladder, to fill in: what was predicted, and blank columns for what is measured.

    Parameters
    ----------
    ladder : Ladder
    us : bool
        Whether to add columns in US units.
    digest : str
        SHA-256 of the scenario, for the first line.
    """
    height = ladder.machine.height(ladder.machine.top_travel - ladder.machine.start_travel)
    supply = raising_phase(ladder.machine).voltage
    rows = [
        SheetRow(
            rung=rung.number, mass=rung.mass, height=height, predicted_time=rung.lift_time, predicted_current=rung.current,
            voltage=supply, winding_start=rung.winding_start, rest_before=rung.rest_before,
        )
        for rung in ladder.rungs
    ]  # fmt: skip
    comments = [origin_line(SheetOrigin(title_on_sheet(ladder.machine.title), digest[:12]))]
    comments.append("fill in measured_time_s and what else you can, then: winchsim calibrate FILE THIS.csv")
    return write_sheet(rows, us=us, comments=comments)


# --- the sheet ------------------------------------------------------------------------------------------------------

_HEADS = (
    "rung", "load", "rest", "go?", "time", "current", "at motors", "winding", "weakest link", "power off", "time", "current",
    "time", "current", "at motors", "winding before", "held?", "outcome", "note",
)  # fmt: skip


def ladder_page(ladder: Ladder, *, name: str = "", us: bool = False) -> str:
    """The sheet to print: one page in landscape, with blanks for what is measured. No network, no script.

    Parameters
    ----------
    ladder : Ladder
    name : str
        File of the scenario, as the user typed it.
    us : bool
        Whether to write US units beside the SI ones.
    """
    room = files("winchsim.report")
    say = beside_us if us else str
    return Template((room / "ladder.html").read_text(encoding="utf-8")).substitute(
        version=safe(__version__),
        style=(room / "ladder.css").read_text(encoding="utf-8"),
        title=safe(ladder.machine.title or name or "winch"),
        file=safe(name or "scenario"),
        verdict_class="good" if ladder.good else "bad",
        sentence=safe(say(ladder.sentence)),
        findings=_findings(ladder, say),
        heads="".join(f"<th>{safe(head)}</th>" for head in _HEADS),
        dense="dense" if len(ladder.rungs) > CLOSE_UP else "",
        rows="\n".join(_row(rung, say) for rung in ladder.rungs),
        key=safe(
            "Time from power on to the upper mark; current of the supply and voltage at the motors halfway up; the stop limits "
            "are a quarter over the prediction, half for the unloaded run, which measures the drag. Outcome: lifted, stalled, "
            "broke or stopped."
        ),
        measure=_items(ladder.measure_first, say),
        prints=_items(ladder.prints or ("no printed gears",), say),
        down=_items(down_lines(ladder), say),
        stall=_items(stall_lines(ladder), say),
        cautions=_items(short(), say),
    )


def _items(lines: Iterable[str], say: Any) -> str:
    return "".join(f"<li>{safe(say(line))}</li>" for line in lines)


def _findings(ladder: Ladder, say: Any) -> str:
    items = "".join(
        f'<li class="{finding.severity.value}"><b>{safe(finding.severity.value)}</b> {safe(say(finding.sentence))}</li>'
        for finding in sorted(ladder.findings, key=lambda f: -f.severity.rank)
    )
    return f'<ul class="findings">{items}</ul>' if items else ""


def _row(rung: Rung, say: Any) -> str:
    weakest = f"{number(rung.factor, 2)} (required {rung.required_factor:g}): {rung.weakest}" if rung.weakest else ""
    cells = [
        str(rung.number), load_text(rung), rest_text(rung), rung.verdict, _time(rung.lift_time), _q(rung.current, "A"),
        _q(rung.voltage, "V"), quantity(rung.winding_end, "°C"), weakest, held_text(rung).replace("back", "runs back"),
    ]  # fmt: skip
    kinds = {1: ' class="two"', 3: ' class="words"', 7: ' class="two"', 8: ' class="words link"', 9: ' class="words"'}
    shown = "".join(f"<td{kinds.get(place, '')}>{safe(say(cell))}</td>" for place, cell in enumerate(cells))
    stops = (_time(rung.stop_time), _q(rung.stop_current if rung.up else None, "A"))
    shown += "".join(f'<td class="stop">{safe(stop)}</td>' for stop in stops)
    blanks = '<td class="fill"></td>' * 6 + '<td class="fill wide"></td>'
    return f"<tr{'' if rung.sound else ' class=no'}>{shown}{blanks}</tr>"
