"""The verdict on a run: one sentence that is the answer, and everything that it rests on."""

from __future__ import annotations

from winchsim.assessment.history import OFF_FLOOR, read_history
from winchsim.model import Event
from winchsim.simulation import Record
from winchsim.verdict.case import Case, blocked_by, holding_part, layer_that_ends, lowering, shortfall, stall_margins
from winchsim.verdict.cautions import cautions
from winchsim.verdict.finding import Severity, Verdict
from winchsim.verdict.findings import find
from winchsim.verdict.summary import summarise
from winchsim.verdict.words import after, counted, duration, given, length, speed

PAYS_OUT = "pays out its rope while the load hangs in its guide"
"""What a drum does that runs back from a load which stays."""


def judge(record: Record) -> Verdict:
    """Verdict on a run.

    Parameters
    ----------
    record : Record

    Returns
    -------
    Verdict
        A run that broke off, kept switching without getting on, or whose energy books do not close is not `trusted`: its
        verdict then says only that, with the one finding that tells why.
    """
    history = read_history(record)
    case = Case(history)
    findings = find(case)
    return Verdict(
        sentence=_sentence(case) if history.trusted else f"No trustworthy result: {findings[0].sentence}",
        trusted=history.trusted,
        lifted=history.trusted and history.lifted,
        as_asked=history.as_asked,
        held=history.held if history.trusted else None,
        safe=all(finding.severity is not Severity.DANGER for finding in findings),
        summary=summarise(history),
        findings=findings,
        rows=case.rows,
        stall_pull=case.pull,
        cautions=cautions(record.machine),
    )


# --- the sentence ---------------------------------------------------------------------------------------------------


def _sentence(case: Case) -> str:
    for tell in (_broken, _off_drum, _empty, _stall, _late, _up):
        text = tell(case)
        if text:
            return text
    return _programme(case)


def _broken(case: Case) -> str:
    event, limit = case.history.broke, case.history.broken_link
    if event is None or limit is None:
        return ""
    when = "before the load lifts off" if event.height <= OFF_FLOOR else f"with the load {length(event.height)} up"
    text = f"Breaks the {limit.label} {after(event.time)}, {when}"
    landed = [e for e in case.history.of(Event.LANDED) if e.time >= event.time and (e.value or 0.0) > 0]
    if landed:
        text += f"; the load hits the floor at {speed(landed[0].value or 0.0)}"
    return text + "."


def _off_drum(case: Case) -> str:
    over, out = case.record.first(Event.OVERFLOW), case.record.first(Event.PAID_OUT)
    if over is not None:
        return f"Does not come up: at {length(over.height)} the rope climbs over the drum's flange."
    if out is not None and out.height > OFF_FLOOR:
        return f"Pays the rope out to its dead turns, with the load {length(out.height)} up."
    return ""


def _stall(case: Case) -> str:
    event = case.history.stalled
    if event is None or case.history.up is not None:
        return ""
    blocked = blocked_by(case, event)
    if blocked:
        return f"Stalls: {blocked} {length(event.height)} up, {after(event.time)}{_afterwards(case)}."
    found = stall_margins(case, event)
    short = f"the motors give {shortfall(found)}"
    if event.height <= OFF_FLOOR:
        return f"Stalls: the load never leaves the floor; {short}{_afterwards(case)}."
    where = "at the end of a layer of rope, " if layer_that_ends(case, event) is not None else ""
    return f"Stalls {where}{length(event.height)} up, {after(event.time)}; {short}{_afterwards(case)}."


def _afterwards(case: Case) -> str:
    backs = case.history.run_backs()
    if backs and backs[-1].in_guide:
        return f", and then {PAYS_OUT}"
    if backs:
        floor = " to the floor" if backs[-1].landed is not None else ""
        return f", and then runs back{floor} at up to {speed(backs[-1].speed)}"
    return ""


def _late(case: Case) -> str:
    event = case.record.first(Event.TIME_UP)
    if event is None or case.history.up is not None:
        return ""
    meant = "up" if case.history.wants_top else "done"
    return f"Not {meant} in time: {after(event.time)} the load is at {length(event.height)}."


def _empty(case: Case) -> str:
    event = case.record.first(Event.EMPTY)
    if event is None or case.history.up is not None:
        return ""
    return f"Does not come up: the battery is empty {after(event.time)}, with the load at {length(event.height)}."


def _up(case: Case) -> str:
    time = case.history.lift_time
    m = case.machine
    if time is None:
        return ""
    height = m.height(m.top_travel - m.start_travel)
    text = f"Lifts {given(m.body.mass, 'kg')} by {given(height, 'm')} in {duration(time)}"
    return text + _held_clause(case) + _lowered_clause(case) + _danger_clause(case) + "."


def _lowered_clause(case: Case) -> str:
    down = lowering(case)
    return "" if down is None else f" and lowers it again in {duration(down[1])}"


def _held_clause(case: Case) -> str:
    held = case.history.held
    if held is None:
        return ""
    if held:
        part = holding_part(case)
        return " and holds it with the power off, " + (f"on its {part}" if part else "by friction only")
    backs = case.history.run_backs()
    if not backs:
        return ", but does not hold it"
    if backs[-1].in_guide:
        return f", but {PAYS_OUT} when the power goes off"
    floor = " to the floor" if backs[-1].landed is not None else ""
    return f", but runs back{floor} at up to {speed(backs[-1].speed)} when the power goes off"


def _danger_clause(case: Case) -> str:
    hot = any(
        float(case.record[f"motor_{g.number}_winding"].max()) > g.winding_limit + 1e-6 for g in case.machine.groups
    )  # fmt: skip
    return "; but a motor gets too hot" if hot else ""


def _programme(case: Case) -> str:
    """Sentence of a programme that does not raise to a height."""
    m, record = case.machine, case.record
    phases = counted(len(case.history.spans), "phase")
    if case.history.run_backs():
        what = _afterwards(case).removeprefix(", and then ")
        return f"{what[0].upper()}{what[1:]} in a programme of {phases}."
    end, start = float(record["height"][-1]), m.height(m.start_travel)
    moved = end - start
    still = "Holds" if max(end, start) > OFF_FLOOR else "Leaves"
    verb = still if abs(moved) <= case.history.allowed_sag else "Raises" if moved > 0 else "Lowers"
    place = f"{length(end)} up" if end > OFF_FLOOR else "on the floor"
    mass, time = given(m.body.mass, "kg"), duration(float(record.time[-1]))
    if verb in ("Holds", "Leaves"):
        return f"{verb} {mass} {place} for {time}" + _held_clause(case).replace(" and holds it with the power off", "") + "."
    return f"{verb} {mass} in {phases} of {time}; it ends {place}."
