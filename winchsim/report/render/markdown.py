"""A document as Markdown, to be put into a page of one's own."""

import re
from collections.abc import Iterable

from winchsim.report.document import (
    Cell,
    Document,
    FigureRef,
    FindingText,
    Headline,
    Items,
    Listing,
    Node,
    Paragraph,
    Section,
    Table,
)
from winchsim.report.render.options import TIED, Options, cell_text, harmless, plain_characters

_SPECIAL = re.compile(r"([\\`*_{}\[\]<>()#+!|~&$^-])")


def render_markdown(document: Document, options: Options) -> str:
    """Markdown of a document with all its details; nothing of a user's text is markup in it."""
    inside = (block for node in document.body for block in _node(node, options, 2))
    blocks = f"# {escaped(document.title)}", escaped(document.source), *inside
    text = "\n\n".join(filter(None, blocks)).replace(TIED, " ") + "\n"
    return plain_characters(text) if options.plain else text


def escaped(text: str) -> str:
    """Text of any origin without a meaning in Markdown or HTML, on one line."""
    return _SPECIAL.sub(r"\\\1", harmless(text.replace("\n", " ")))


def fenced(text: str, language: str = "") -> str:
    """Text as it is, in a fence longer than any run of backticks in it."""
    fence = "`" * max(3, 1 + max((len(run) for run in re.findall(r"`+", text)), default=0))
    body = "\n".join(map(harmless, text.replace("\r\n", "\n").rstrip("\n").split("\n")))
    return f"{fence}{language}\n{body}\n{fence}"


def _words(cell: Cell, options: Options) -> str:
    return cell_text(cell, options, escaped)


def _node(node: Node, options: Options, level: int) -> Iterable[str]:
    match node:
        case Headline():
            head = " ".join(word for word in (node.mark.word.upper(), node.count) if word)
            yield f"**{escaped(head)}** {_words(node.sentence, options)}"
            yield _words(node.remark, options)
        case Paragraph():
            label = f"**{escaped(node.label)}** " if node.label else ""
            yield label + _words(node.text, options)
        case Items():
            yield "\n".join(
                f"{f'{n}.' if node.ordered else '-'} {_words(item, options)}"
                for n, item in enumerate(node.items, start=1)
            )
        case FindingText():
            action = f" Action: {_words(node.action, options)}" if node.action else ""
            yield f"- **{escaped(node.mark.word)}** {_words(node.text, options)}{action}"
        case Table():
            heads = " | ".join(map(escaped, node.columns))
            sides = [" ---: " if node.is_right(n) else " --- " for n in range(len(node.columns))]
            rows = (" | ".join(_words(cell, options) for cell in row) for row in node.rows)
            yield "\n".join([f"| {heads} |", f"|{'|'.join(sides)}|", *(f"| {r} |" for r in rows)])
        case FigureRef() if node.name in options.figures:
            yield f"![{escaped(node.heading)}]({options.figures[node.name]})"
            yield escaped(node.caption)
        case Listing():
            yield fenced(node.text, node.language)
        case Section():
            yield f"{'#' * level} {escaped(node.heading)}"
            for inner in node.body:
                yield from _node(inner, options, level + 1)
