"""What the document of every command has in common: headline, sections of details, cautions."""

from __future__ import annotations

import os
from collections.abc import Iterable, Mapping
from typing import Any

from winchsim.assessment.kinds import Assessment
from winchsim.report.document import Headline, Items, Mark, Node, Section, Table, Text, say
from winchsim.report.words import advice
from winchsim.report.words.values import MARKS

NOT_RATED = "not rated lifting equipment"

NO_RESULT = Mark("no result", "bad")


def headline(mark: Mark, count: str, sentence: Text, name: str) -> Headline:
    """The answer, and below it the file that it is about."""
    remark = " · ".join(part for part in (os.path.basename(name), NOT_RATED) if part)
    return Headline(mark, count, sentence, say(remark))


def of_checks(found: Assessment | None) -> tuple[Mark, str]:
    """Mark of an assessment, or of a study that recommends none, and how many of its checks have
    this status."""
    if found is None:
        return Mark("none", "bad"), ""
    if not found.trusted:
        return NO_RESULT, ""
    return MARKS[found.status], f"{found.counts[found.status]} of {len(found.checks)} checks"


def details(sections: Mapping[str, Iterable[Any]], *shown: str) -> tuple[Section, ...]:
    """Sections of details without those that would be empty; `shown` ones are open on a page."""
    full = {
        heading: tuple(node for node in nodes if not _is_empty(node))
        for heading, nodes in sections.items()
    }
    return tuple(
        Section(heading, nodes, details=True, shown=heading in shown)
        for heading, nodes in full.items()
        if nodes
    )


def _is_empty(node: Node) -> bool:
    return (isinstance(node, Table) and not node.rows) or (
        isinstance(node, Items) and not node.items
    )


def cautions(found: Assessment | None) -> Items:
    """Every caution: those of an assessment, with its drop, or all without numbers."""
    if found is None:
        return Items(tuple(map(say, advice.CAUTIONS.values())))
    return Items(tuple(advice.caution(kind, found) for kind in found.cautions))
