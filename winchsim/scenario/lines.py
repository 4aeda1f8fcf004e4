"""Which line of a TOML text each key stands on: the TOML reader of the standard library does not say.

One pass over the text, without recursion and in time proportional to its length. It follows tables, arrays of tables, dotted
keys, inline tables and arrays over several lines. It accepts any text: on broken TOML it knows the lines before the break.
"""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass, field

MAX_KEY_PARTS = 12
MAX_NESTING = 16
MAX_ITEMS = 20_000
"""Most keys, tables and list entries together."""


@dataclass(frozen=True)
class LineIndex:
    """Lines of the paths of one file.

    Attributes
    ----------
    lines : tuple of str
        The file, line by line.
    where : dict of str to int
        Line, from 1, on which a path first stands. Entries of arrays are counted from 1 in their path.
    absurd : (int, str) or None
        First line on which the text goes beyond what any scenario needs, and in which way: the TOML reader must not see it.
    """

    lines: tuple[str, ...] = ()
    where: dict[str, int] = field(default_factory=dict)
    absurd: tuple[int, str] | None = None

    def line(self, path: str) -> int | None:
        """Line of a path, or of the table around it; None when neither stands in the file."""
        while path:
            if path in self.where:
                return self.where[path]
            path = path.rpartition(".")[0]
        return None

    def text(self, line: int | None) -> str:
        """Text of a line; empty without one."""
        return self.lines[line - 1] if line is not None and 0 < line <= len(self.lines) else ""


def index_lines(text: str) -> LineIndex:
    """Line index of a TOML text.

    Parameters
    ----------
    text : str
        Any text, with ``\\n`` or ``\\r\\n`` line ends.

    Returns
    -------
    LineIndex
    """
    scan = _Scan(text)
    absurd = None
    try:
        scan.run()
    except _AbsurdError as error:
        absurd = (scan.line, str(error))
    lines = tuple(line.removesuffix("\r") for line in text.split("\n"))
    return LineIndex(lines, scan.where, absurd)


class _AbsurdError(Exception):
    """The text goes beyond what any scenario needs."""


# Possessive and closed by the end of the line or text, so that no text makes the scan go back.
_STRINGS = r"""
      (?P<long>\"\"\"(?:[^"\\]|\\.|"(?!""))*+(?:\"{3,5}|\\?\Z) | '''(?:[^']|'(?!''))*+(?:'{3,5}|\Z))
    | (?P<string>"(?:[^"\\\n]|\\[^\n])*+(?:"|(?=\n)|\\?\Z|\\(?=\n)) | '[^'\n]*+(?:'|(?=\n)|\Z))
"""
_BLANK = r"(?P<blank>[ \t\r]++|\#[^\n]*+)"
_KEY_TOKEN = re.compile(
    rf"{_BLANK} | {_STRINGS} | (?P<mark>[\[\]{{}}=,.\n]) | (?P<bare>[^\s\[\]{{}}=,.\#\"']++) | (?P<odd>.)",
    re.VERBOSE | re.DOTALL,
)
_VALUE_TOKEN = re.compile(
    rf"{_BLANK} | {_STRINGS} | (?P<mark>[\[\]{{}},\n]) | (?P<bare>[^\s\[\]{{}},\#\"']++) | (?P<odd>.)",
    re.VERBOSE | re.DOTALL,
)


@dataclass
class _Container:
    is_array: bool
    path: str
    count: int = 0


class _Scan:
    """State of the single pass: position, line, the open table and how many entries each array of tables has."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.position = 0
        self.line = 1
        self.where: dict[str, int] = {}
        self.entries: dict[str, int] = {}
        self.table = ""
        self.items = 0

    def run(self) -> None:
        """Walk all statements; each turn takes at least one token."""
        while (token := self.peek(_KEY_TOKEN)) is not None:
            if token == "\n":
                self.take(_KEY_TOKEN)
            elif token == "[":
                self.header()
            else:
                path = self.assigned(self.table)
                if path is not None:
                    self.value(path)
                self.rest_of_line()

    # --- tokens

    def take(self, pattern: re.Pattern[str]) -> str | None:
        """Next token, blanks and comments passed over; None at the end."""
        while match := pattern.match(self.text, self.position):
            self.position = match.end()
            if match.lastgroup == "blank":
                continue
            token = match[0]
            self.line += token.count("\n")
            return token
        return None

    def peek(self, pattern: re.Pattern[str]) -> str | None:
        while match := pattern.match(self.text, self.position):
            if match.lastgroup != "blank":
                return match[0]
            self.position = match.end()
        return None

    def rest_of_line(self) -> None:
        while (token := self.peek(_VALUE_TOKEN)) is not None and token != "\n":
            self.take(_VALUE_TOKEN)

    def count(self) -> None:
        """Count one key, table or list entry."""
        self.items += 1
        if self.items > MAX_ITEMS:
            raise _AbsurdError(f"more than {MAX_ITEMS} keys and values")

    # --- statements

    def key(self, ends: str) -> list[str]:
        """Parts of a key up to one of the marks that may follow it (which is left), or up to a break."""
        parts: list[str] = []
        while (token := self.peek(_KEY_TOKEN)) is not None and token not in ends and token not in "\n{},":
            self.take(_KEY_TOKEN)
            if token == ".":
                continue
            if len(parts) == MAX_KEY_PARTS:
                raise _AbsurdError("nested far too deeply")
            parts.append(_unquoted(token))
        return parts

    def header(self) -> None:
        line = self.line
        self.count()
        self.take(_KEY_TOKEN)
        is_array = self.peek(_KEY_TOKEN) == "["
        if is_array:
            self.take(_KEY_TOKEN)
        parts = self.key("]")
        path = ""
        for depth, part in enumerate(parts, start=1):
            path = _join(path, part)
            self.where.setdefault(path, line)
            if is_array and depth == len(parts):
                self.entries[path] = self.entries.get(path, 0) + 1
            if path in self.entries:
                path = f"{path}.{self.entries[path]}"
            self.where.setdefault(path, line)
        self.table = path
        self.rest_of_line()

    def assigned(self, table: str) -> str | None:
        """Path of a key, with its equals sign taken; None where no equals sign follows."""
        path, line = table, self.line
        self.count()
        for part in self.key("=]"):
            path = _join(path, part)
            self.where.setdefault(path, line)
        if self.peek(_KEY_TOKEN) != "=":
            return None
        self.take(_KEY_TOKEN)
        return path

    def value(self, path: str) -> None:
        """A value of any shape. Containers are kept on a stack of our own."""
        stack: list[_Container] = []
        self.element(path, stack)
        while stack:
            top = stack[-1]
            token = self.peek(_VALUE_TOKEN if top.is_array else _KEY_TOKEN)
            if token is None:
                return
            if token in ("\n", ","):
                self.take(_VALUE_TOKEN)
            elif token == ("]" if top.is_array else "}"):
                self.take(_VALUE_TOKEN)
                stack.pop()
            elif token == "}":
                return
            elif top.is_array:
                self.count()
                top.count += 1
                entry = f"{top.path}.{top.count}"
                self.where.setdefault(entry, self.line)
                self.element(entry, stack)
            else:
                inner = self.assigned(top.path)
                if inner is None:
                    return
                self.element(inner, stack)

    def element(self, path: str, stack: list[_Container]) -> None:
        """One scalar, taken whole, or the opening of a container, put on the stack."""
        token = self.peek(_VALUE_TOKEN)
        if token is None or token in ("\n", ",", "]", "}"):
            return
        self.take(_VALUE_TOKEN)
        if token in ("[", "{"):
            if len(stack) == MAX_NESTING:
                raise _AbsurdError("nested far too deeply")
            stack.append(_Container(token == "[", path))
            return
        while (token := self.peek(_VALUE_TOKEN)) is not None and token not in ("\n", ",", "]", "}"):
            self.take(_VALUE_TOKEN)


def _join(path: str, part: str) -> str:
    return f"{path}.{part}" if path else part


def _unquoted(token: str) -> str:
    if token[:1] not in ("'", '"'):
        return token
    if "\\" in token:
        try:
            return str(tomllib.loads(f"key = {token}")["key"])
        except ValueError:
            return token
    return token.strip(token[0])
