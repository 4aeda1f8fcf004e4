"""The report of why a test failed: document and JSON."""

from __future__ import annotations

from winchsim.report import frame
from winchsim.report.document import (
    Cell,
    Document,
    Mark,
    Node,
    Paragraph,
    Table,
    Text,
    Value,
    joined,
    say,
)
from winchsim.report.json_text import document
from winchsim.report.render.options import sentence_text, sentences
from winchsim.report.words import advice
from winchsim.report.words import why as words
from winchsim.report.words.values import TIMES
from winchsim.scenario.read import Scenario
from winchsim.studies.calibrate.evidence import Note
from winchsim.studies.why import Diagnosis, Reason

EXPLAINED, LEAST = 3, 0.01
"""Causes that are explained on the first screen; likelihood from which on one is listed there.
[-]"""


def diagnosis_document(found: Diagnosis, scenario: Scenario, command: str) -> Document:
    """Document of a diagnosis.

    Parameters
    ----------
    found : Diagnosis
    scenario : Scenario
    command : str
        That shows all of it.
    """
    causes = [_explained(found, place) for place in range(len(found.reasons))]
    few = sum(reason.share >= LEAST for reason in found.reasons)
    more = {
        "Further causes": (_table(found, few, None), *causes[EXPLAINED:]),
        "Cautions": (frame.cautions(found.found),),
    }
    remark = say(
        "Likelihoods rank the causes, they are no statistics. What to look for is general "
        "knowledge, not from this scenario."
    )
    mark = Mark(found.end.value.replace("_", " "), "bad")
    body: tuple[Node, ...] = (
        frame.headline(mark, "", words.verdict(found), scenario.name),
        _table(found, 0, few),
        *causes[:EXPLAINED],
        Paragraph(remark, faint=True),
        advice.closing(found.found),
        *frame.details(more),
    )
    return Document(scenario.inputs.title or scenario.name, scenario.name, body, command)


def _table(found: Diagnosis, first: int, end: int | None) -> Table:
    broke = found.part
    last = ("demand", "factor") if broke else ("needed over available",)
    rows: list[tuple[Cell, ...]] = []
    for reason in found.reasons[first:end]:
        name = words.cause(reason, found.end)
        cells: tuple[Cell, ...] = (
            "" if reason.demand is None else Value(reason.demand, sign=TIMES),
        )
        if broke and reason.demand:
            c = broke.strength
            ends = (c.value / reason.demand, c.low / reason.demand, c.high / reason.demand)
            cells = (Value(reason.demand, c.unit), Value(ends[0], "", ends[1], ends[2], 1.0))
        rows.append((name, words.likelihood(reason.share), *cells))
    return Table(("cause", "likelihood", *last), tuple(rows), name="causes")


def _clues(reason: Reason) -> tuple[list[Text], list[Text]]:
    """What speaks for a cause, and what against it."""
    favour = [words.clue(clue) for clue in reason.clues if clue.favours]
    return favour, [words.clue(clue) for clue in reason.clues if not clue.favours]


def _explained(found: Diagnosis, place: int) -> Paragraph:
    """What speaks for and against a cause, what to look for, what to change."""
    reason = found.reasons[place]
    _, look, change = words.CAUSES[reason.cause]
    sides = zip(("For", "Against"), _clues(reason), strict=True)
    texts = [say(f"{side}: {{}}.", joined(rows, "; ")) for side, rows in sides if rows]
    texts += [say(f"Look for: {look[:1].lower()}{look[1:]}"), say(f"Change: {change}")]
    name = words.cause(reason, found.end)
    return Paragraph(joined(texts), label=f"{place + 1}  {name[:1].upper()}{name[1:]}.")


def diagnosis_json(found: Diagnosis, scenario: Scenario) -> str:
    """JSON text of a diagnosis."""
    capacity = None if found.part is None else found.part.strength
    return document(
        digest=scenario.digest,
        verdict=sentence_text(words.verdict(found)),
        cautions=list(advice.CAUTIONS.values()),
        rows=[
            {
                "cause": reason.cause.value,
                "group": reason.group or None,
                "likelihood": reason.share,
                "demand": reason.demand,
                "for": sentences(favour),
                "against": sentences(against),
                "look_for": words.CAUSES[reason.cause][1],
                "change": words.CAUSES[reason.cause][2],
            }
            for reason in found.reasons
            for favour, against in [_clues(reason)]
        ],
        command="why",
        row=found.test.number,
        end=found.end.value,
        part=None if found.part is None else found.part.label,
        capacity=None if capacity is None else [capacity.low, capacity.value, capacity.high],
    )


def question(found: Note, scenario: Scenario, command: str) -> Document:
    """Document that asks which part broke."""
    names = ", ".join(name for name, _ in found.choices)
    sentence = say(
        f"It is not clear which part broke. Write one of these into broke_link: {names}."
    )
    head = frame.headline(Mark("no answer", "open"), "", sentence, scenario.name)
    return Document(scenario.name, scenario.name, (head,), command)
