"""A document as one HTML page that needs nothing else: no network, no script, figures inside."""

from collections.abc import Iterable
from importlib.resources import files
from string import Template

from winchsim.report.document import (
    Cell,
    Document,
    FigureRef,
    FindingText,
    Headline,
    Items,
    Listing,
    Mark,
    Node,
    Paragraph,
    Section,
    Table,
    Value,
)
from winchsim.report.render.options import Options, cell_text, count_text, plain_characters, safe
from winchsim.version import __version__

LONG_TITLE = 80
"""Titles of more characters are set smaller. [-]"""


def render_html(document: Document, options: Options, style: str = "") -> str:
    """HTML of a document, details closed, with a list of contents; all text of users is escaped.

    `style` is CSS behind that of every page.
    """
    package = files("winchsim.report.render")
    page = Template((package / "page.html").read_text(encoding="utf-8")).substitute(
        style=(package / "page.css").read_text(encoding="utf-8") + style,
        title=safe(document.title),
        size="long" if len(document.title) > LONG_TITLE else "short",
        version=safe(__version__),
        body="\n".join(body(document, options)),
    )
    return plain_characters(page) if options.plain else page


def _words(cell: Cell, options: Options) -> str:
    return cell_text(cell, options, safe)


def body(document: Document, options: Options) -> Iterable[str]:
    """The answer with the first figure beside it, then the contents, then the sections."""
    sections = [n for n in document.body if isinstance(n, Section)]
    figures = [n for n in document.body if isinstance(n, FigureRef)]
    others = [n for n in document.body if not isinstance(n, (Section, FigureRef))]
    yield f'<div class="answer"><div class="first">{_nodes(others, options)}</div>'
    yield f"{_nodes(figures, options)}</div>"
    links = "".join(f'<li><a href="#{_key(s)}">{safe(s.heading)}</a></li>' for s in sections)
    if links:
        yield f'<nav aria-label="Contents"><ul>{links}</ul></nav>'
    yield _nodes(sections, options)


def _nodes(nodes: Iterable[Node], options: Options) -> str:
    return "\n".join(part for node in nodes for part in _node(node, options))


def _key(section: Section) -> str:
    return "".join(c if c.isalnum() else "-" for c in section.heading.lower())


def _node(node: Node, options: Options) -> Iterable[str]:
    match node:
        case Headline(mark, count, sentence, remark):
            counted = f" {safe(count)}" if count else ""
            below = f'<p class="remark">{_words(remark, options)}</p>' if remark else ""
            yield (
                f'<div class="headline {mark.tone}">'
                f'<p class="status">{safe(mark.word)}{counted}</p>'
                f'<p class="sentence">{_words(sentence, options)}</p>{below}</div>'
            )
        case Paragraph():
            label = f"<strong>{safe(node.label)}</strong> " if node.label else ""
            kind = ' class="remark"' if node.faint else ""
            yield f"<p{kind}>{label}{_words(node.text, options)}</p>"
        case Items():
            tag = "ol" if node.ordered else "ul"
            yield f"<{tag}>{''.join(f'<li>{_words(i, options)}</li>' for i in node.items)}</{tag}>"
        case FindingText(mark, text, action):
            words = f"{_mark(mark)} {_words(text, options)}"
            if action:
                words += f'<span class="action">Action: {_words(action, options)}</span>'
            yield f'<p class="finding {mark.tone}">{words}</p>'
        case Table():
            yield from _table(node, options)
        case FigureRef() if node.name in options.figures:
            words = f"<strong>{safe(node.heading)}.</strong> {safe(node.caption)}"
            yield (
                f'<figure id="figure-{safe(node.name)}">{options.figures[node.name]}'
                f"<figcaption>{words}</figcaption></figure>"
            )
        case Listing():
            yield f'<pre dir="auto">{"<br>".join(map(safe, node.text.splitlines()))}</pre>'
        case Section(heading, inside, details, shown):
            kind = ' class="figures"' if all(isinstance(n, FigureRef) for n in inside) else ""
            words = f"<h2>{safe(heading)}</h2>"
            inner = f"<div{kind}>{_nodes(inside, options)}</div>"
            folded = f"<details{' open' * shown}><summary>{words}</summary>{inner}</details>"
            yield f'<section id="{_key(node)}">{folded if details else words + inner}</section>'


def _mark(mark: Mark) -> str:
    return f'<span class="mark {mark.tone}">{safe(mark.word)}</span>'


def _table(node: Table, options: Options) -> Iterable[str]:
    """A table; the rows that are spared first stand in one of their own that can be opened."""
    folded = sorted({row for tier, row in node.spare if tier == 0})
    yield from _rows(node, [k for k in range(len(node.rows)) if k not in folded], options)
    if folded:
        yield f'<details class="more"><summary>{safe(count_text(node, folded))}</summary>'
        yield from (*_rows(node, folded, options), "</details>")


def _rows(node: Table, kept: Iterable[int], options: Options) -> Iterable[str]:
    """Rows whose cells know the head of their column, so that a narrow screen can stack them."""
    columns = [(head, node.is_right(number)) for number, head in enumerate(node.columns)]
    heads = "".join(
        f'<th scope="col"{_class(side, None)}>{safe(head)}</th>' for head, side in columns
    )
    yield "<table>" + (f"<thead><tr>{heads}</tr></thead>" if any(node.columns) else "") + "<tbody>"
    for k in kept:
        first, *rest = (
            _cell(*column, cell, options)
            for column, cell in zip(columns, node.rows[k], strict=True)
        )
        yield f'<tr><th scope="row"{first}</th>{"".join(f"<td{c}</td>" for c in rest)}</tr>'
    yield "</tbody></table>"


def _cell(head: str, is_right: bool, cell: Cell, options: Options) -> str:
    """Attributes and content of a cell, between its tags."""
    text = _words(cell, options)
    words = _mark(cell) if isinstance(cell, Mark) else f"<bdi>{text}</bdi>" * bool(text)
    data = f' data-head="{safe(head)}"' if head else ""
    return f"{_class(is_right, cell)}{data}>{words}"


def _class(is_right: bool, cell: Cell | None) -> str:
    is_value = isinstance(cell, Value) or (isinstance(cell, tuple) and len(cell) == 2)
    name = "number" if is_right else "value" if is_value else ""
    return f' class="{name}"' if name else ""
