"""Printed reports of the studies that choose a part: drum, gears, motors, voltage, and the heaviest load."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from winchsim.quantity_text import fixed, number, quantity, rounded
from winchsim.report.lines import Lines
from winchsim.report.paint import Paint
from winchsim.slow import End, Hold, Lifts
from winchsim.studies import drum as drum_room
from winchsim.studies import gears as gears_room
from winchsim.studies import heaviest as heaviest_room
from winchsim.studies.drum import DrumStudy
from winchsim.studies.gears import GearStudy
from winchsim.studies.heaviest import HeaviestStudy
from winchsim.studies.motors import MotorStudy
from winchsim.studies.voltage import VoltageStudy
from winchsim.verdict.candidates import Band, Edge, Judged
from winchsim.verdict.cautions import cautions
from winchsim.verdict.choice import Choice, checked
from winchsim.verdict.crosscheck import FullRun
from winchsim.verdict.words import duration, fixed_percent, percent

_PLAIN = Paint()

HOLDING = {Hold.HOLDS: "holds", Hold.AT_REST_ONLY: "at rest", Hold.RUNS_BACK: "back"}
"""What the load does with the power off, in a table."""

BORNE_OUT = 0.002
"""Difference in lift time to the full runs up to which a table of slow lifts has three digits. [-] Own choice."""

ENDS = {
    End.STALLED: "stalls", End.STALLED_AT_LAYER_END: "stalls", End.BATTERY_EMPTY: "empty", End.OVERFLOW: "flange",
    End.BLOCKED: "blocked", End.LATE: "late", End.CANNOT_BE_BUILT: "-",
}  # fmt: skip
"""What stands in place of a lift time, in a table."""


def drum_text(study: DrumStudy, *, name: str = "", us: bool = False, paint: Paint = _PLAIN) -> str:
    """Report of a drum study as text; the answer is the first line.

    Parameters
    ----------
    study : DrumStudy
    name : str
        File of the scenario, as the user typed it.
    us : bool
        Whether to print US units beside the SI ones.
    paint : Paint
        Colours.
    """
    choice, out = study.choice, Lines(us, paint)
    _head(out, study.sentence, choice.passes, name, study.machine.title, study.reason)
    _band(out, choice.band, choice.other_bands, drum_room.edge_words)
    if study.holds_up_to is not None:
        most = drum_room.size_text(rounded(study.holds_up_to, 3))
        out.sentence(f"With the power off the load stays up on drums up to {most}.", indent="  ")
    else:
        out.sentence("With the power off no drum of the range holds the load against a jolt.", indent="  ")
    out.heading("Diameters")
    rows = [("drum", "D/d", "time", "margin", "current", "factor", "off", "layer", "pull", "")]
    for i in drum_room.rows_to_show(study):
        mark = " <" if i == choice.recommended else ""
        size = out.q(study.diameters[i], "mm") + mark
        rows.append((size, number(study.bend_ratios[i], 2), *_cells(choice, i), _layers(choice.lifts, i),
                     _last_pull(choice.lifts, i), _standing(choice.judged, i)))  # fmt: skip
    out.table(rows, "rrrrrr rr")
    _legend(out, "; pull: the most that the motors pull on the last layer, as warm as they are there")
    _foot(out, choice.runs, lambda i: drum_room.size_text(study.diameters[i]), checked(choice))
    out.findings(choice.findings)
    out.cautions(cautions(study.machine))
    return out.text()


def motor_text(study: MotorStudy, *, name: str = "", us: bool = False, paint: Paint = _PLAIN) -> str:
    """Report of a study of the number of motors as text; see `drum_text`."""
    choice, out = study.choice, Lines(us, paint)
    _head(out, study.sentence, choice.passes, name, study.machine.title, study.reason)
    _band(out, choice.band, choice.other_bands, lambda edge, which: _edge(edge, which, f"{edge.told:g}"))
    out.heading(f"Motors of group {study.group}" if len(study.inputs.motors) > 1 else "Motors")
    rows = [("count", "time", "margin", "current", "factor", "off", "winding", "")]
    for i in range(len(choice.values)):
        mark = " <" if i == choice.recommended else ""
        rows.append((f"{choice.values[i]:g}{mark}", *_cells(choice, i), _winding(out, choice, i),
                     _standing(choice.judged, i)))  # fmt: skip
    out.table(rows, "rrrrr r")
    _legend(out)
    _foot(out, choice.runs, lambda i: f"{choice.values[i]:g}", checked(choice))
    out.findings(choice.findings)
    out.cautions(cautions(study.machine))
    return out.text()


def voltage_text(study: VoltageStudy, *, name: str = "", us: bool = False, paint: Paint = _PLAIN) -> str:
    """Report of a study of the supply's voltage as text; see `drum_text`."""
    choice, out = study.choice, Lines(us, paint)
    _head(out, study.sentence, choice.passes, name, study.machine.title, study.reason)
    _band(out, choice.band, choice.other_bands, lambda edge, which: _edge(edge, which, quantity(edge.told, "V", edge.digits)))
    out.heading("Voltages")
    rows = [("voltage", "time", "margin", "current", "factor", "off", "winding", "")]
    for i in _thinned(choice.values, 14, {run.index for run in choice.runs}):
        mark = " <" if i == choice.recommended else ""
        rows.append((quantity(float(choice.values[i]), "V") + mark, *_cells(choice, i), _winding(out, choice, i),
                     _standing(choice.judged, i)))  # fmt: skip
    out.table(rows, "rrrrr r")
    _legend(out)
    _foot(out, choice.runs, lambda i: quantity(float(choice.values[i]), "V"), checked(choice))
    out.findings(choice.findings)
    out.cautions(cautions(study.machine))
    return out.text()


def gear_text(study: GearStudy, *, name: str = "", us: bool = False, paint: Paint = _PLAIN) -> str:
    """Report of a study of the gears as text; see `drum_text`."""
    choice, out = study.choice, Lines(us, paint)
    _head(out, study.sentence, choice.passes, name, study.machine.title, study.reason)
    out.heading("Changes with the most room, by ratio")
    for i in gears_room.rows_to_show(study):
        option = study.options[i]
        mark = "<" if i == choice.recommended else "-"
        out.item(mark, f"{option.words}, {option.ratio:.4g}:1: {_told(choice, i)}{_standing(choice.judged, i)}.")
    _foot(out, choice.runs, lambda i: f"{choice.values[i]:.4g}:1", checked(choice))
    out.findings(choice.findings)
    out.cautions(cautions(study.machine))
    return out.text()


def heaviest_text(study: HeaviestStudy, *, name: str = "", us: bool = False, paint: Paint = _PLAIN) -> str:
    """Report of a study of the load as text; see `drum_text`."""
    out = Lines(us, paint)
    _head(out, study.sentence, study.good, name, study.machine.title, "")
    out.heading("How far each limit lets the load go, the nearest first")
    for reach in study.reaches:
        upto = "not reached" if reach.mass is None else quantity(rounded(reach.mass, 3), "kg") if reach.mass else "none"
        kind = reach.name if reach.hard else f"{reach.name} (a caution)"
        beyond = f"beyond it {reach.reason}" if reach.reason else "in the whole range that was tried"
        out.item(out.said(upto).rjust(18 if us else 8), f"{kind}: {beyond}")
    if study.power_mass is not None:
        out.heading("Most power to the load")
        out.sentence(
            f"About {quantity(study.power or 0.0, 'W', 2)} at {heaviest_room.mass_text(study.power_mass, 2)}, rising at "
            f"{quantity(study.power_speed or 0.0, 'mm/s', 2)}; strength is left out of this.", indent="  ",
        )  # fmt: skip
    off = study.largest_difference
    note = "" if off is None else f"{len(study.runs)} run in full; largest difference in lift time {percent(off, 1)}."
    _foot(out, study.runs, lambda i: heaviest_room.mass_text(study.masses[i]), note)
    out.findings(study.findings)
    out.cautions(cautions(study.machine))
    return out.text()


# --- parts ----------------------------------------------------------------------------------------------------------


def _head(out: Lines, sentence: str, good: bool, name: str, title: str, reason: str) -> None:
    out.sentence(sentence, out.paint.good if good else out.paint.bad)
    out.sentence(": ".join(part for part in (name, title) if part), out.paint.faint)
    if reason:
        out.sentence(reason)


def _band(out: Lines, band: Band | None, others: int, words: Callable[[Edge, str], str]) -> None:
    if band is None:
        return
    out.heading("The band that works")
    for edge, which in ((band.low, "below"), (band.high, "above")):
        out.sentence(words(edge, which), indent="  ")
    if others:
        out.sentence(f"There {'is another band' if others == 1 else f'are {others} more bands'}; see the rows.", indent="  ")


def _edge(edge: Edge, which: str, text: str) -> str:
    if edge.beyond is None:
        return f"{which.capitalize()} {text} nothing was tried."
    return f"{which.capitalize()} {text} {edge.reason}."


def _legend(out: Lines, more: str = "") -> None:
    text = (
        "margin: torque of the motors over what starts the load, at the start/with windings at their limit; current: "
        "running/at standstill; factor: of the weakest link while it lifts; off: with the power off it holds, "
        "stays at rest until a jolt, or runs back"
    )
    out.sentence(f"{text}{more}.", indent="  ")


def _digits(choice: Choice) -> int:
    """Digits of times and temperatures of the quasi-static model: three where the full runs bear them out, else two."""
    off = choice.largest_difference
    return 3 if off is not None and off <= BORNE_OUT else 2


def _cells(choice: Choice, i: int) -> tuple[str, str, str, str, str]:
    """Time, margins cold and hot, current running and at standstill, factor, power off."""
    lifts = choice.lifts
    built = lifts.end[i] != End.CANNOT_BE_BUILT
    time = duration(float(lifts.lift_time[i]), _digits(choice)) if lifts.lifted[i] else ENDS[End(int(lifts.end[i]))]
    if not built:
        return time, "", "", "", ""
    holds = HOLDING[Hold(int(lifts.holding[i]))] if lifts.lifted[i] else ""
    running = number(lifts.peak_current[i], 2) if lifts.peak_current[i] > 0 else "-"
    factor = "" if math.isinf(lifts.factor[i]) else number(lifts.factor[i], 2)
    return (
        time, f"{number(lifts.stall_margin_cold[i], 3)}/{number(lifts.stall_margin_hot[i], 3)}",
        f"{running}/{number(lifts.standstill_current[i], 2)} A", factor, holds,
    )  # fmt: skip


def _told(choice: Choice, i: int) -> str:
    """The cells of a candidate in words, for a list; each with what follows it."""
    time, margin, current, factor, off = _cells(choice, i)
    if not margin:
        return ""
    cold, hot = margin.split("/")
    running, still = current.removesuffix(" A").split("/")
    up = f"up in {time}; {running} A running, {still} A at standstill" if choice.lifts.lifted[i] else time
    power_off = {"": "", "back": "runs back with the power off; "}.get(off, f"{off} with the power off; ")
    return f"{up}; margin {cold} cold, {hot} hot; {f'weakest link {factor}; ' if factor else ''}{power_off}"


def _layers(lifts: Lifts, i: int) -> str:
    return str(int(lifts.layers[i])) + ("+" if lifts.end[i] == End.OVERFLOW else "")


def _last_pull(lifts: Lifts, i: int) -> str:
    """To two digits: near a stall the windings' warmth, which it falls with, is not known to more."""
    pull = float(lifts.last_pull[i])
    return "" if math.isnan(pull) else f"{fixed(pull, 2, 2)} N"


def _winding(out: Lines, choice: Choice, i: int) -> str:
    """Only of what comes up: while something stalls it is a question of how long."""
    hottest = float(choice.lifts.peak_winding[i])
    return "" if math.isnan(hottest) or not choice.lifts.lifted[i] else out.q(hottest, "°C", _digits(choice))


def _standing(judged: Judged, i: int) -> str:
    if judged.keeps_every_limit[i]:
        return "good"
    if judged.works[i]:
        broken = min((limit for limit in judged.limits if limit.room[i] < 1), key=lambda limit: limit.room[i])
        return f"caution: {broken.tag}"
    obstacle = judged.obstacle(i)
    return f"no: {obstacle.tag}" if obstacle is not None else "no"


def _thinned(values: np.ndarray, most: int, keep: set[int]) -> list[int]:
    """A few candidates spread over all, and those that have to be there."""
    spread = np.unique(np.round(np.linspace(0, len(values) - 1, most)).astype(int)).tolist()
    return sorted({*spread, *keep})


def _foot(out: Lines, runs: Sequence[FullRun], called: Callable[[int], str], note: str) -> None:
    if not runs:
        return
    out.heading("Run in full")
    for run in runs:
        off = "" if run.difference is None else f" (quasi-static model {fixed_percent(run.difference, 2, signed=True)})"
        out.item("-", f"{called(run.index)}: {run.sentence}{off}")
    out.sentence(note, indent="  ")
