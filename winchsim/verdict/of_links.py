"""Findings about what the pull passes through: teeth, shafts, drum, rope."""

from __future__ import annotations

from collections.abc import Iterator

from winchsim.assessment.history import OFF_FLOOR
from winchsim.assessment.warmth import raising_time, tooth_warmth
from winchsim.model import Event
from winchsim.model.machine import LinkLimit
from winchsim.quantity_text import in_unit, number, quantity
from winchsim.simulation import RecordedEvent
from winchsim.strength import line
from winchsim.strength.link import LINKS, LinkKind
from winchsim.verdict.case import Case
from winchsim.verdict.finding import Finding, FindingKind, LinkRow, Severity
from winchsim.verdict.tooth_advice import tooth_advice, tooth_case
from winchsim.verdict.words import after, counted, given, length

WARMING_TIME = 300.0
"""Time of raising from which teeth are taken to come near their lasting temperature. [s] Own assumption: plastic gears warm
over minutes."""


def overload(case: Case) -> Iterator[Finding]:
    """The link that broke: what loaded it, what it bears, what would do."""
    event, limit = case.history.broke, case.history.broken_link
    if event is None or limit is None:
        return
    strength, name = limit.strength, limit.label
    demand = (event.value or 1.0) * strength.value
    bears = quantity(strength.value, strength.unit)
    reach = ""
    if strength.high > strength.low:
        low, high = (number(in_unit(v, strength.unit)) for v in (strength.low, strength.high))
        reach = f" ({low} to {high} {strength.unit}, {strength.basis})"
    text = (
        f"The {name} breaks {after(event.time)}, {_load_at(event)}: it is loaded with {quantity(demand, strength.unit)} "
        f"and bears {bears}{reach}."
    )
    yield Finding(
        _meaning(limit.kind), Severity.DANGER, text, event.time, event.height, demand, strength.value,
        strength.unit, _link_advice(case, limit), limit.where,
    )  # fmt: skip


def _meaning(kind: LinkKind) -> FindingKind:
    return FindingKind.ROPE_BROKE if LINKS[kind].drops_load else FindingKind.OVERLOAD


def _load_at(event: RecordedEvent) -> str:
    return "the load still on the floor" if event.height <= OFF_FLOOR else f"the load {length(event.height)} up"


def _link_advice(case: Case, limit: LinkLimit) -> str:
    if case.inputs is not None:
        tooth = tooth_case(case.inputs, case.machine, limit)
        if tooth is not None:
            return tooth_advice(tooth)
    return LINKS[limit.kind].advice


def below_required(case: Case) -> Iterator[Finding]:
    """Links that hold with less than their required factor: the worst of each sort, and how many more."""
    broken = {_sort(row.link.kind) for row in case.rows if row.broke}
    weak = [row for row in case.rows if row.link.factor < row.link.required and _sort(row.link.kind) not in broken]
    sorts: dict[str, list[LinkRow]] = {}
    for row in weak:
        sorts.setdefault(_sort(row.link.kind), []).append(row)
    for rows in sorts.values():
        worst, more = rows[0], len(rows) - 1
        link = worst.link
        others = (
            f"; {counted(more, 'more link', 'more links')} of its kind {'is' if more == 1 else 'are'} below it too"
            if more
            else ""
        )
        text = (
            f"The {worst.label} holds with a factor of {number(link.factor, 2)}, below the required "
            f"{given(link.required, '')}{others}."
        )
        limit = case.machine.links[worst.place]
        yield Finding(
            FindingKind.LINK_BELOW_REQUIRED, Severity.CAUTION, text, link.time, link.height, link.factor, link.required,
            help=_link_advice(case, limit), about=link.where,
        )  # fmt: skip


def _sort(kind: LinkKind) -> str:
    rope = kind in (LinkKind.ROPE, LinkKind.ROPE_KNOT)
    return "tooth" if kind.is_tooth else "rope" if rope else kind.value


def rope_bend(case: Case) -> Iterator[Finding]:
    """How tightly the drum bends the rope; sources differ, so it is a caution at most."""
    if case.inputs is None:
        return
    row = case.inputs.ropes[case.inputs.rope.material]
    bend = line.bend(row, case.inputs.drum.diameter, case.inputs.rope.diameter)
    if bend.standing == "easy":
        return
    span = f"{number(bend.low, 2)} to {number(bend.high, 2)}"
    text = f"The drum is {number(bend.ratio, 2)} times as thick as the rope; sources ask for {span} with {row.name} rope" + (
        ": it bends tightly and wears early." if bend.standing == "tight" else "."
    )
    yield Finding(
        FindingKind.ROPE_BEND_TIGHT, Severity.CAUTION if bend.standing == "tight" else Severity.NOTE, text,
        value=bend.ratio, limit=bend.low, help="A thicker drum or a thinner rope.", about="drum.diameter",
    )  # fmt: skip


def drum_ends(case: Case) -> Iterator[Finding]:
    """A drum that is too small, or that paid its rope out to the dead turns."""
    over, out = case.record.first(Event.OVERFLOW), case.record.first(Event.PAID_OUT)
    if over is not None:
        text = f"The rope climbs over the drum's flange with the load {length(over.height)} up; the run ends there."
        yield Finding(
            FindingKind.DRUM_OVERFLOW, Severity.DANGER, text, over.time, over.height,
            help="Larger flanges, a wider drum, or a thinner rope.", about="drum.flange_diameter",
        )  # fmt: skip
    elif case.machine.overflows:
        yield Finding(
            FindingKind.DRUM_OVERFLOW, Severity.CAUTION, "The drum's flanges are too small for the whole lift.",
            help="Larger flanges, a wider drum, or a thinner rope.", about="drum.flange_diameter",
        )  # fmt: skip
    if out is not None and out.height > OFF_FLOOR:
        text = f"The rope is paid out to its dead turns with the load {length(out.height)} up; the run ends there."
        yield Finding(
            FindingKind.PAID_OUT, Severity.DANGER, text, out.time, out.height,
            help="Stop the lowering earlier, or wind more rope on.", about="drum.dead_turns",
        )  # fmt: skip


def teeth_warm(case: Case) -> Iterator[Finding]:
    """The polymer tooth that its friction warms most, where lasting running would be too much for it."""
    tooth = next((warmth for warmth in tooth_warmth(case.record) if warmth.too_warm), None)
    if tooth is None:
        return
    limit, lasting = tooth.flank_limit, raising_time(case.record) >= WARMING_TIME
    text = (
        f"Running on and on like this, friction would warm the {tooth.label} to about {quantity(tooth.flank, '°C', 2)} at the "
        f"flank and {quantity(tooth.root, '°C', 2)} at the root (from memory, good to a factor of two"
    )
    text += ")" if lasting else "; so short a lift stays cooler)"
    text += f"; {tooth.material.name} bears {quantity(limit, '°C', 2)}." if limit is not None else "."
    yield Finding(
        FindingKind.TEETH_WARM, Severity.CAUTION if lasting else Severity.NOTE, text, value=tooth.flank, limit=limit,
        unit="°C", help="Grease, wider teeth, a slower motor, or pauses to cool.", about=tooth.path,
    )  # fmt: skip


def extrapolated(case: Case) -> Iterator[Finding]:
    """Printed teeth whose rim is thinner than any published factor covers, where that may decide."""
    if case.inputs is None:
        return
    thin = []
    for row in case.rows:
        if row.link.factor >= 2 * row.link.required or row.link.demand <= 0:
            continue
        tooth = tooth_case(case.inputs, case.machine, case.machine.links[row.place])
        if tooth is not None and tooth.found.outside_published_range:
            thin.append(row)
    if thin:
        low, high = thin[0].link.factor_range
        text = (
            f"The rim of the {thin[0].label} is thinner than the published rim factor covers; its factor lies between "
            f"{number(low, 2)} and {number(high, 2)}."
        )
        if len(thin) > 1:
            text += f" The same holds for {counted(len(thin) - 1, 'more tooth', 'more teeth')} of the table."
        yield Finding(
            FindingKind.EXTRAPOLATED, Severity.CAUTION, text, value=thin[0].link.factor, limit=thin[0].link.required,
            help="A smaller bore, or a tooth tested to breaking and given as tested_tooth_force.", about=thin[0].link.where,
        )  # fmt: skip
