"""Lines on which the tables and keys of a TOML text start.

The TOML reader of the standard library does not tell them. One pass over the lines finds table
headers and the keys below them; what stands inside a value has the line of its key.
"""

import re
from dataclasses import field

from winchsim.frozen import dataclass

_PART = r"""(?:[^\s.=\[\]{}"'#,]+|"[^"\n]*"|'[^'\n]*')"""
_PATH = rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*"
_LINE = re.compile(rf"[ \t]*(?:(\[\[?)[ \t]*({_PATH})[ \t]*\]|({_PATH})[ \t]*=)")
_LONG_QUOTE = re.compile(r'"""|\'\'\'')
_QUOTES = "\"'"
MOST_PARTS = 12


@dataclass(frozen=True)
class LineIndex:
    """Lines of the paths of one file.

    Attributes
    ----------
    lines : tuple of str
        The file, line by line.
    where : dict of str to int
        Line, from 1, on which a path first stands. Entries of lists are counted from 1.
    """

    lines: tuple[str, ...] = ()
    where: dict[str, int] = field(default_factory=dict)

    def line(self, path: str) -> int | None:
        """Line of a path, or of the table around it; None when neither stands in the file."""
        while path and path not in self.where:
            path = path.rpartition(".")[0]
        return self.where.get(path)

    def text(self, line: int | None) -> str:
        """Text of a line; empty without one."""
        return self.lines[line - 1] if line is not None and 0 < line <= len(self.lines) else ""


def index_lines(text: str) -> LineIndex:
    """Line index of a TOML text, broken or not, with ``\\n`` or ``\\r\\n`` line ends."""
    lines = tuple(line.removesuffix("\r") for line in text.split("\n"))
    where: dict[str, int] = {}
    entries: dict[str, int] = {}
    table = quote = ""
    for number, line in enumerate(lines, start=1):
        match = None if quote else _LINE.match(line)
        if match:
            parts = re.findall(_PART, match[2] or match[3])[:MOST_PARTS]
            path = "" if match[1] else table
            for depth, part in enumerate(parts, start=1):
                path = f"{path}.{part.strip(_QUOTES)}".lstrip(".")
                where.setdefault(path, number)
                if match[1] == "[[" and depth == len(parts):
                    entries[path] = entries.get(path, 0) + 1
                if match[1] and path in entries:
                    path = f"{path}.{entries[path]}"
                    where.setdefault(path, number)
            table = path if match[1] else table
        for mark in _LONG_QUOTE.findall(line):
            quote = mark if not quote else "" if mark == quote else quote
    return LineIndex(lines, where)
