"""The tables of a lift's report as rows of text: one source for every form that the report takes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from winchsim.assessment.margins import holding
from winchsim.inputs import Inputs, Spec, walk
from winchsim.model import Head, Machine
from winchsim.model.machine import Assumed
from winchsim.quantity_text import at_most, digits_of_share, fixed, number, quantity
from winchsim.report.timeline import timeline
from winchsim.report.us import said
from winchsim.simulation import ENERGY_LIMIT, EnergyBooks, Record
from winchsim.strength.link import LinkKind
from winchsim.verdict.finding import LinkRow, StallPull, Verdict
from winchsim.verdict.life import sentence as life_sentence
from winchsim.verdict.life import tooth_lives
from winchsim.verdict.snag import SnagStudy
from winchsim.verdict.words import duration, given, length, listed, percent, speed

LEAST_SHARE = 5e-4
"""Share of the energy below which heads of the books are put together. [-]"""

MEMORY = "*"
"""Stands behind a strength that rests on a value from memory."""

Row = tuple[str, ...]


def moments(record: Record, *, us: bool) -> list[Row]:
    """Time, height and what happened."""
    rows: list[Row] = []
    for moment in timeline(record):
        time = "" if moment.time is None else f"{fixed(moment.time, 2)} s"
        height = "" if moment.height is None else f"{fixed(moment.height, 3)} m"
        rows.append((time, said(height, us), said(moment.text, us)))
    return rows


def key_numbers(record: Record, verdict: Verdict, *, us: bool) -> list[Row]:
    """Name and value of the numbers that everyone asks for.

    Parameters
    ----------
    record : Record
    verdict : Verdict
    us : bool
        Whether US units are written beside the SI ones.
    """
    s = verdict.summary
    return [
        ("lift time", duration(s.lift_time) if s.lift_time is not None else "not up"),
        ("steady speed", said(speed(s.steady_speed), us) if s.steady_speed is not None else "none"),
        ("highest, final height", said(f"{length(s.highest)}, {length(s.final_height)}", us)),
        (
            "supply current",
            f"{quantity(s.peak_current, 'A', us=us)} at most, {quantity(s.mean_current, 'A', us=us)} on average",
        ),
        ("rope tension", f"{quantity(s.peak_tension, 'N', us=us)} at most"),
        ("hottest winding", quantity(s.peak_winding, "°C", us=us)),
        ("energy from the supply", quantity(s.energy_in, "J", us=us)),
        ("charge drawn", quantity(s.charge, "A·h", us=us)),
        ("efficiency of the lift", percent(s.efficiency, 3) if s.efficiency is not None else "none"),
        ("ratio, motor to drum", listed(list(dict.fromkeys(f"{g.ratio:.4g}:1" for g in record.machine.groups)))),
    ]


def margin_rows(record: Record, verdict: Verdict, *, us: bool) -> list[Row]:
    """What it is, what is reached, the limit, and a remark.

    Parameters
    ----------
    record : Record
    verdict : Verdict
    us : bool
        Whether US units are written beside the SI ones.
    """
    s, machine = verdict.summary, record.machine
    rows: list[Row] = [
        ("torque to start it, cold", f"{number(s.stall_margin_cold)} x", "1", "below it the motors stall"),
        ("same, windings at limit", f"{number(s.stall_margin_hot)} x", "1", ""),
    ]
    hold = holding(machine, machine.top_travel, machine.layers_used[-1])
    counted = "times this load; no pawl counted"
    if machine.body.friction > 0:
        counted = "times this load; guide and slope counted, no pawl"
    for words, value in (("holding, power off", hold.resting), ("same, once set going", hold.moving)):
        rows.append((words, "locks" if math.isinf(value) else f"{number(value)} x", "1", counted))
    for group in machine.groups:
        name = f"winding of group {group.number}" if len(machine.groups) > 1 else "winding"
        peak = float(record[f"motor_{group.number}_winding"].max())
        rows.append((name, quantity(peak, "°C", us=us), quantity(group.winding_limit, "°C", us=us), ""))
    limit = next((step.current_limit for step in machine.phases if step.action == "raise"), math.inf)
    remark = "" if math.isinf(limit) else "at its limit" if s.peak_current >= limit * (1 - 1e-3) else ""
    rows.append(("supply current", quantity(s.peak_current, "A", us=us), quantity(limit, "A", us=us), remark))
    if verdict.rows:
        worst = min(verdict.rows, key=lambda row: row.link.factor / row.link.required)
        rows.append(("factor of a link", number(worst.link.factor, 2), f"{worst.link.required:g}", worst.label))
    return rows


LINK_HEADS = ("factor", "required", "load", "bears", "at", "link")
"""Heads of the table of links."""


def link_rows(rows: Sequence[LinkRow], *, us: bool) -> list[Row]:
    """Rows under `LINK_HEADS`; a factor below the required one has ``<`` behind it."""
    table: list[Row] = []
    for row in rows:
        link, strength = row.link, row.link.strength
        load = ("≥ " if link.bound and link.demand > 0 else "") + quantity(link.demand, strength.unit, us=us)
        bears = quantity(strength.value, strength.unit, us=us) + (MEMORY if strength.basis == "from memory" else "")
        when = f"{fixed(link.time, 1)} s" if link.time is not None and link.demand > 0 else ""
        factor = number(link.factor, 2) + (" <" if link.factor < link.required else "")
        table.append((factor, f"{link.required:g}", load, bears, when, row.label + (", broke" if row.broke else "")))
    return table


def link_remarks(rows: Sequence[LinkRow]) -> list[str]:
    """What the signs in the table of links mean."""
    found = ["factor = bears / load; below 1 it breaks"]
    if any(row.link.bound and row.link.demand > 0 for row in rows):
        found.append("≥ the train is held there, and friction leaves open how much more the link carries")
    if any(row.link.strength.basis == "from memory" for row in rows):
        found.append(f"{MEMORY} from memory, not looked up")
    return found


def life(record: Record) -> str:
    """Sentence on how often the run loads the teeth; empty where there are none."""
    return life_sentence(tooth_lives(record)) or ""


def snag_text(snag: SnagStudy) -> str:
    """Sentence on a simulated snag."""
    return f"Snag at {length(snag.height)}: {snag.sentence}"


def stall_pull_rows(found: StallPull) -> list[Row]:
    """Factor under the current limit, factor without it, and link: the three worst."""
    return [(number(row.link.factor, 2), number(row.unlimited_factor, 2), row.label) for row in found.rows[:3]]


def stall_pull_current(found: StallPull) -> str:
    """Sentence on the supply's current at a stall."""
    text = f"Supply current then: {quantity(found.current, 'A')}"
    if is_limited(found):
        text += f"; without its limit {quantity(found.unlimited_current, 'A')}"
    return text + ". At rest; rotors caught while they turn add to it."


def is_limited(found: StallPull) -> bool:
    """Whether the current limit keeps the motors from their full pull at stall."""
    return found.current < found.unlimited_current * (1 - 1e-6)


def energy_rows(books: EnergyBooks, *, us: bool) -> list[Row]:
    """Head, energy and share, the largest first behind what the supply gave."""
    gained = {head: books.stored_after[head] - books.stored_before[head] for head in books.stored_after}
    heads = [("lifted" if head == Head.POTENTIAL else f"stored, {head}", amount) for head, amount in gained.items()]
    heads += list(books.spent.items())
    scale = max(abs(books.source), books.scale)
    shown = [(head, amount) for head, amount in heads if abs(amount) >= LEAST_SHARE * scale]
    rest = sum(amount for _, amount in heads) - sum(amount for _, amount in shown)
    rows: list[Row] = [("from the supply", quantity(books.source, "J", us=us), "")]
    for head, amount in sorted(shown, key=lambda pair: -abs(pair[1])):
        rows.append(
            (head, quantity(amount, "J", digits_of_share(amount, scale), us=us), percent(amount / scale) if scale > 0 else "")
        )
    if len(shown) < len(heads) and abs(rest) > 0:
        rows.append(("all others", quantity(rest, "J", digits_of_share(rest, scale, 2), us=us), percent(rest / scale, 1)))
    return rows


def energy_remark(record: Record) -> str:
    """How well the books close, and at which tolerance where the run had to be done again for it."""
    text = f"The books close to within {at_most(record.energy.error)} of the energy; the limit is {ENERGY_LIMIT:.0e}."
    if record.runs > 1:
        text += f" It took {record.runs} runs to the last one's relative tolerance of {record.relative_tolerance:.0e}."
    return text


def notes(machine: Machine, rows: Sequence[LinkRow]) -> list[str]:
    """What was noted while building, and of the links what was noted of the weakest that has notes."""
    of_links = {note for row in rows for note in row.link.strength.notes}
    found = [*not_judged(machine), *(note for note in machine.notes if note not in of_links)]
    weakest = next((row for row in rows if row.link.strength.notes), None)
    if weakest is not None:
        found += [f"The {weakest.label}: {note[:1].lower()}{note[1:]}" for note in weakest.link.strength.notes]
    return found


def not_judged(machine: Machine) -> list[str]:
    """What the pull passes through but nothing is said of, because the scenario does not describe it; one sentence or none."""
    kinds = {link.kind for link in machine.links}
    paths = list(dict.fromkeys(mesh.path for mesh in machine.meshes))
    with_shaft = {link.where for link in machine.links if link.kind is LinkKind.SHAFT}
    with_gears = {link.where for link in machine.links if link.kind is not LinkKind.SHAFT}
    found = [f"the gears of {_stage(path)} ({path}.torque_limit)" for path in paths if path not in with_gears]
    found += [f"the output shaft of {_stage(path)} ({path}.shaft_diameter)" for path in paths if path not in with_shaft]
    if LinkKind.DRUM_BENDING not in kinds:
        found.append("the drum rod between its supports (drum.support_span)")
    if LinkKind.CROSS_PIN not in kinds:
        found.append("a cross-pin of the drum (drum.cross_pin_diameter)")
    return [f"Not judged, because the scenario does not describe it: {listed(found)}."] if found else []


def _stage(path: str) -> str:
    return path.replace(".", " ")


# --- inputs -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True)
class InputRow:
    """One value of the scenario.

    Attributes
    ----------
    path : str
    meaning : str
    value : str
        With its unit.
    basis : str
        ``given``, ``assumed`` or ``default``.
    remark : str
        Why, and the range that it may have; may be empty.
    """

    path: str
    meaning: str
    value: str
    basis: str
    remark: str = ""


@dataclass(frozen=True)
class InputTable:
    """Values of one table of the scenario, and the keys that it leaves out and that nothing stands in for."""

    name: str
    rows: tuple[InputRow, ...]
    left_out: tuple[str, ...]


def input_tables(inputs: Inputs, machine: Machine, *, us: bool) -> tuple[InputTable, ...]:
    """Every value that the run was made with, table by table in the order of the declarations.

    Parameters
    ----------
    inputs : Inputs
    machine : Machine
        Built from them: knows what was assumed.
    us : bool
        Whether US units are written beside the SI ones.
    """
    assumed = {row.path: row for row in machine.assumed}
    grouped: dict[str, tuple[list[InputRow], list[str]]] = {}
    for path, value, spec in walk(inputs):
        rows, out = grouped.setdefault(_table_of(path), ([], []))
        row = _input_row(path, value, spec, inputs, assumed.pop(path, None), us)
        if row is None:
            out.append(path.rpartition(".")[2] + (f" ({spec.left_out})" if spec.left_out else ""))
        else:
            rows.append(row)
    for path, entry in assumed.items():  # what was assumed of tables that the file does not have
        rows, _ = grouped.setdefault(_table_of(path), ([], []))
        rows.append(InputRow(path, "", _assumed_value(entry, us), "assumed", _why(entry, us)))
    return tuple(InputTable(name, tuple(rows), tuple(out)) for name, (rows, out) in grouped.items() if rows or out)


def _table_of(path: str) -> str:
    return path.rpartition(".")[0] or "scenario"


def _input_row(path: str, value: object, spec: Spec, inputs: Inputs, entry: Assumed | None, us: bool) -> InputRow | None:
    if path in inputs.given:
        return InputRow(path, spec.meaning, value_text(value, spec, us=us), "given")
    if entry is not None:
        return InputRow(path, spec.meaning, _assumed_value(entry, us), "assumed", _why(entry, us))
    if value is None or value == "":
        return None
    return InputRow(path, spec.meaning, value_text(value, spec, us=us), "default")


def value_text(value: object, spec: Spec, *, us: bool) -> str:
    """A value of a scenario as a reader writes it.

    Parameters
    ----------
    value : object
        In SI (°C for temperatures); None where the scenario has none.
    spec : Spec
        Its declaration.
    us : bool
        Whether US units are written beside the SI ones.
    """
    if value is None:
        return "none"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, (int, float)):
        unit = spec.unit
        return said(given(float(value), unit), us) if unit else f"{value:.6g}"
    return str(value)


def _assumed_value(row: Assumed, us: bool) -> str:
    return row.value if isinstance(row.value, str) else said(given(float(row.value), row.unit), us)


def _why(row: Assumed, us: bool) -> str:
    parts = [] if row.why == "default" else [row.why]
    if row.low is not None and row.high is not None and row.high > row.low:
        parts.append(said(f"{quantity(row.low, row.unit)} to {quantity(row.high, row.unit)}", us))
    return "; ".join(parts)
