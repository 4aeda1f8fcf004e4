"""A document as text for a terminal."""

import itertools
import textwrap
from collections.abc import Collection, Iterable, Sequence

from winchsim.report.document import (
    Cell,
    Document,
    FindingText,
    Headline,
    Items,
    Listing,
    Mark,
    Node,
    Paragraph,
    Section,
    Table,
)
from winchsim.report.problems import clean
from winchsim.report.render.options import (
    TIED,
    Options,
    cell_text,
    count_text,
    painted,
    plain_characters,
)

LEAST_WRAP = 4
"""Characters of a column of a table for which words are cut, where nothing else helps. [-]"""


def render_text(document: Document, options: Options) -> str:
    """Text of a document, `options.width` columns at most, with a line end."""
    shown = [
        n for n in document.body if options.full or not isinstance(n, Section) or not n.details
    ]
    spare = sorted(
        (tier, n, place, row)
        for place, node in enumerate(shown)
        if isinstance(node, (Table, Items, Paragraph)) and not options.full
        for n, (tier, row) in enumerate(node.spare)
    )
    lines = [
        line
        for part in _fitted(shown, [(place, row) for _, _, place, row in spare], options)
        for line in part
    ]
    if document.more and not options.full:
        line = f"All details: {clean(document.more)}"
        short = "All details: the same command with --full"
        lines.append(line if len(line) <= options.width else short)
    text = "\n".join(line.rstrip() for line in lines).replace(TIED, " ") + "\n"
    return plain_characters(text) if options.plain else text


def _fitted(
    nodes: Sequence[Node], spare: Sequence[tuple[int, int]], options: Options
) -> list[list[str]]:
    """Lines of each node, without as many spare rows as the height asks for; a row that fits after
    all comes back."""
    parts, left_out = [list(_node(node, options)) for node in nodes], [set[int]() for _ in nodes]
    dropped = []
    for place, row in spare:
        if sum(map(len, parts)) > options.height:
            left_out[place].add(row)
            parts[place] = list(_node(nodes[place], options, left_out[place]))
            dropped.append((place, row))
    for place, row in reversed(dropped):
        lines = list(_node(nodes[place], options, left_out[place] - {row}))
        if sum(map(len, parts)) - len(parts[place]) + len(lines) <= options.height:
            left_out[place].remove(row)
            parts[place] = lines
    return parts


def _node(node: Node, options: Options, left_out: Collection[int] = ()) -> Iterable[str]:
    match node:
        case Headline(mark, count, sentence, remark):
            head = f"{clean(mark.word).upper()} {clean(count)}".rstrip()
            yield from _led(head, mark.tone, f". {_words(sentence, options)}", options, "  ")
            if remark:
                yield from _wrapped(_words(remark, options), options, "  ", "  ")
        case Paragraph() if not left_out:
            label, words = clean(node.label), _words(node.text, options)
            yield from (
                painted("faint", line, options.colour and node.faint)
                for line in _led(label, "strong", f" {words}" if label else words, options)
            )
        case Items():
            kept = [item for row, item in enumerate(node.items) if row not in left_out]
            for number, item in enumerate(kept, start=1):
                head = f"{number}  " if node.ordered else "- "
                yield from _wrapped(_words(item, options), options, head, " " * len(head))
        case FindingText(mark, text, action):
            word, words = clean(mark.word), f"  {_words(text, options)}"
            yield from _led(word, mark.tone, words, options, " " * (len(word) + 2))
            if action:
                yield from _wrapped(f"Action: {_words(action, options)}", options, "  ", "  ")
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
                yield from ("", painted("strong", clean(node.heading), options.colour), *inside)


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


def _led(head: str, tone: str, text: str, options: Options, indent: str = "") -> list[str]:
    """Lines of a text behind a head that is coloured."""
    lines = _wrapped(head + text, options, "", indent)
    if head and lines[0].startswith(head):
        lines[0] = painted(tone, head, options.colour) + lines[0][len(head) :]
    return lines


def _table(node: Table, options: Options, left_out: Collection[int]) -> Iterable[str]:
    rows = [row for number, row in enumerate(node.rows) if number not in left_out]
    cells = [[_words(cell, options) for cell in row] for row in rows]
    has_heads = any(node.columns) and bool(rows)
    lines = [[clean(head) for head in node.columns], *cells] if has_heads else cells
    gap, widths = _widths(lines, options.width)
    right = "".join("r" if node.is_right(n) else "l" for n in range(len(node.columns)))
    for row, line in zip([()] * has_heads + rows, lines, strict=True):
        for text in _row(line, widths, right, " " * gap):
            for mark in (cell for cell in row if isinstance(cell, Mark)):
                before, word, after = text.rpartition(clean(mark.word))
                text = before + painted(mark.tone, word, options.colour) + after
            yield painted("faint", text, options.colour and not row)
    if left_out:
        yield from (
            painted("faint", text, options.colour)
            for text in _wrapped(count_text(node, left_out), options)
        )


def _row(cells: list[str], widths: list[int], sides: str, gap: str) -> Iterable[str]:
    """Lines of one row; a cell that is too long takes several."""
    parts = [
        textwrap.wrap(cell, width, break_on_hyphens=False) or [""]
        for cell, width in zip(cells, widths, strict=True)
    ]
    for places in itertools.zip_longest(*parts, fillvalue=""):
        yield gap.join(
            text.rjust(width) if side == "r" else text.ljust(width)
            for text, width, side in zip(places, widths, sides, strict=True)
        )


def _widths(lines: list[list[str]], width: int) -> tuple[int, list[int]]:
    """Gap and width of each column: where there is too little room, the widest give way first,
    down to their longest word."""
    columns = list(zip(*lines, strict=True))
    widths = [max(map(len, column), default=1) or 1 for column in columns]
    longest = [max(len(word) for cell in column for word in cell.split(" ")) for column in columns]
    for gap, least in ((2, longest), (1, longest), (1, [LEAST_WRAP] * len(columns))):
        while sum(widths) + gap * (len(widths) - 1) > width:
            wide = [n for n, least_of in enumerate(least) if widths[n] > least_of]
            if not wide:
                break
            widths[max(wide, key=widths.__getitem__)] -= 1
        else:  # they fit
            break
    return gap, widths
