"""A document as text for a terminal."""

from __future__ import annotations

import textwrap
from collections.abc import Collection, Iterable

from winchsim.report.columns import aligned
from winchsim.report.document import (
    Cell,
    Document,
    FigureRef,
    Finding,
    Headline,
    Items,
    Listing,
    Mark,
    Node,
    Paragraph,
    Section,
    Table,
)
from winchsim.report.paint import Paint
from winchsim.report.problems import clean
from winchsim.report.render.options import TIED, Options, cell_text, count_text, plain_characters

LEAST_WRAP = 10
"""Columns that a wrapped column of a table has at least. [-]"""


def render_text(document: Document, options: Options) -> str:
    """Text of a document, `options.width` columns at most, with a line end."""
    shown = [
        n for n in document.body if options.full or not isinstance(n, Section) or not n.details
    ]
    parts = [list(_node(node, options)) for node in shown]
    closing = [] if options.full else list(_more(document, options))
    spare = sorted(
        (tier, n, place, row)
        for place, node in enumerate(shown)
        if isinstance(node, (Table, Items))
        for n, (tier, row) in enumerate(node.spare)
    )
    left_out: dict[int, set[int]] = {}
    for _, _, place, row in [] if options.full else spare:
        if sum(map(len, parts)) <= options.height:
            break
        left_out.setdefault(place, set()).add(row)
        parts[place] = list(_node(shown[place], options, left_out[place]))
    lines = [line for part in parts for line in part] + closing
    text = "\n".join(line.rstrip() for line in lines).replace(TIED, " ") + "\n"
    return plain_characters(text) if options.plain else text


def _more(document: Document, options: Options) -> Iterable[str]:
    if document.more:
        line = f"All details: {clean(document.more)}"
        yield line if len(line) <= options.width else "All details: the same command with --full"


def _node(node: Node, options: Options, left_out: Collection[int] = ()) -> Iterable[str]:
    match node:
        case Headline():
            yield from _headline(node, options)
        case Paragraph():
            yield from _paragraph(node, options)
        case Items():
            kept = [item for row, item in enumerate(node.items) if row not in left_out]
            for number, item in enumerate(kept, start=1):
                head = f"{number}  " if node.ordered else "- "
                yield from _wrapped(_words(item, options), options, head, " " * len(head))
        case Finding():
            yield from _finding(node, options)
        case Table():
            yield ""
            yield from _table(node, options, left_out)
        case Listing():
            yield from (clean(line) for line in node.text.splitlines())
        case Section():
            inside: list[str] = []
            for inner in node.body:
                lines = list(_node(inner, options))
                inside += lines[1:] if lines[:1] == [""] and not inside else lines
            if inside:
                yield from ("", Paint(options.colour).strong(clean(node.heading)), *inside)
        case FigureRef():
            pass


def _words(cell: Cell, options: Options) -> str:
    return cell_text(cell, options, clean)


def _wrapped(text: str, options: Options, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        text,
        options.width,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
    ) or [first.rstrip()]


def _painted(mark: Mark, text: str, options: Options) -> str:
    paint = Paint(options.colour)
    tones = {"good": paint.good, "warn": paint.warn, "bad": paint.bad, "open": paint.warn}
    return tones[mark.tone](text)


def _headline(node: Headline, options: Options) -> Iterable[str]:
    words = (clean(node.mark.word).upper(), clean(node.count))
    head = " ".join(word for word in words if word)
    first, *rest = _wrapped(_words(node.sentence, options), options, f"{head}. ", "  ")
    yield _painted(node.mark, head, options) + first[len(head) :]
    yield from rest
    if node.remark:
        yield from _wrapped(_words(node.remark, options), options, "  ", "  ")


def _paragraph(node: Paragraph, options: Options) -> Iterable[str]:
    paint = Paint(options.colour)
    label = f"{clean(node.label)} " if node.label else ""
    lines = _wrapped(label + _words(node.text, options), options)
    if node.label and lines[0].startswith(label):
        lines[0] = paint.strong(label.rstrip()) + lines[0][len(label.rstrip()) :]
    yield from map(paint.faint, lines) if node.faint else lines


def _finding(node: Finding, options: Options) -> Iterable[str]:
    head = f"{clean(node.mark.word)}  "
    first, *rest = _wrapped(_words(node.text, options), options, head, " " * len(head))
    yield _painted(node.mark, head.rstrip(), options) + first[len(head.rstrip()) :]
    yield from rest
    if node.action:
        yield from _wrapped(f"Action: {_words(node.action, options)}", options, "  ", "  ")


def _table(node: Table, options: Options, left_out: Collection[int]) -> Iterable[str]:
    rows = [row for number, row in enumerate(node.rows) if number not in left_out]
    cells = [[_words(cell, options) for cell in row] for row in rows]
    heads = [column.head for column in node.columns]
    lines = [*([heads] if any(heads) else []), *cells]
    widths = _widths(node, lines, options.width)
    wrapped: list[list[str]] = []
    marks: list[tuple[Mark, ...]] = []
    for row, line in zip([()] * (len(lines) - len(rows)) + rows, lines, strict=True):
        parts = [
            textwrap.wrap(cell, width, break_on_hyphens=False) or [""]
            for cell, width in zip(line, widths, strict=True)
        ]
        for number in range(max(map(len, parts))):
            wrapped.append([part[number] if number < len(part) else "" for part in parts])
            marks.append(
                tuple(cell for cell in row if isinstance(cell, Mark)) if number == 0 else ()
            )
    sides = "".join("r" if column.right else "l" for column in node.columns)
    for number, (line_text, found) in enumerate(zip(aligned(wrapped, sides), marks, strict=True)):
        text = Paint(options.colour).faint(line_text) if number == 0 and any(heads) else line_text
        for mark in found:
            before, word, after = text.rpartition(clean(mark.word))
            text = before + _painted(mark, word, options) + after
        yield text
    if left_out:
        yield Paint(options.colour).faint(count_text(node, left_out))


def _widths(node: Table, lines: list[list[str]], width: int) -> list[int]:
    """Width of each column; where there is too little room, those that wrap give way first."""
    widths = [max(map(len, column), default=1) or 1 for column in zip(*lines, strict=True)]
    over = sum(widths) + 2 * (len(widths) - 1) - width
    order = sorted(range(len(widths)), key=lambda n: (not node.columns[n].wraps, -widths[n]))
    for number in order:
        cut = max(0, min(over, widths[number] - LEAST_WRAP))
        widths[number] -= cut
        over -= cut
    return widths
