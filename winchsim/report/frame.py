"""What the document of every command has in common: headline, closing line, sections of details
with the cautions last."""

import os
from collections.abc import Iterable, Mapping
from typing import Any

from winchsim.assessment.kinds import Assessment, Caution
from winchsim.report.document import (
    Document,
    Headline,
    Items,
    Mark,
    Node,
    Paragraph,
    Section,
    Table,
    Text,
)
from winchsim.report.words import advice
from winchsim.report.words.values import MARKS
from winchsim.scenario.read import Scenario

NOT_RATED = "not rated lifting equipment"


def headline(mark: Mark, count: str, sentence: Text, name: str) -> Headline:
    """The answer, and below it the file that it is about."""
    remark = " · ".join(part for part in (os.path.basename(name), NOT_RATED) if part)
    return Headline(mark, count, sentence, (remark,))


def of_checks(found: Assessment | None) -> tuple[Mark, str]:
    """Mark of an assessment, or of a study that recommends none, and how many of its checks have
    this status."""
    if found is None or not found.trusted:
        return Mark("none" if found is None else "no result", "bad"), ""
    return MARKS[found.status], f"{found.counts[found.status]} of {len(found.checks)} checks"


def document(
    scenario: Scenario,
    answer: Node,
    body: Iterable[Any],
    sections: Mapping[str, Iterable[Any]],
    found: Assessment | Text | None,
    command: str,
    *shown: str,
) -> Document:
    """Document of a study of a scenario.

    Parameters
    ----------
    scenario : Scenario
    answer : Headline
    body : iterable of Node
        What is always shown between the answer and the closing line.
    sections : mapping of str to iterable of Node
        Details by heading.
    found : Assessment, Text or None
        That the closing line and the cautions are about; or the closing line.
    command : str
        That shows the details.
    *shown : str
        Headings of sections that are open on a page.
    """
    assessed = None if isinstance(found, tuple) else found
    closing = Paragraph(found) if isinstance(found, tuple) else advice.closing(found)
    more = details({**sections, "Cautions": (cautions(assessed),)}, *shown)
    shown_all = answer, *filled(body), closing, *more
    return Document(scenario.inputs.title or scenario.name, scenario.name, shown_all, command)


def details(sections: Mapping[str, Iterable[Any]], *shown: str) -> tuple[Section, ...]:
    """Sections of details without those that would be empty; `shown` ones are open on a page."""
    full = ((heading, filled(nodes)) for heading, nodes in sections.items())
    return tuple(Section(h, nodes, True, h in shown) for h, nodes in full if nodes)


def filled(nodes: Iterable[Any]) -> tuple[Any, ...]:
    """Nodes that hold anything."""
    return tuple(node for node in nodes if not _is_empty(node))


def _is_empty(node: Any) -> bool:
    match node:
        case Table(rows=()) | Items(items=()) | Paragraph(text=(), label=""):
            return True
    return False


def cautions(found: Assessment | None) -> Items:
    """Every caution: those of an assessment, with its drop, or all without numbers."""
    kinds = advice.CAUTIONS if found is None else Caution
    return Items(tuple(advice.caution(kind, found) for kind in kinds))
