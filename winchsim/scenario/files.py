"""A user's file: its text, the TOML tables in it with their lines, and all that is wrong with it.

The TOML reader of the standard library does not say on which lines tables and keys start. One pass
over the lines finds table headers and the keys below them; what stands inside a value has the line
of its key.
"""

import errno
import itertools
import os
import re
import tomllib
from dataclasses import field
from typing import Any

from winchsim.errors import Code, Fault, InputError, nearest, refused
from winchsim.frozen import dataclass, replace

STDIN = "-"
"""Name of a file that means standard input."""

_MAX_LISTED = 8
_MAX_SCANNED = 2000


def read_text(path: str, limit: int, what: str, suffix: str = ".toml") -> str:
    """Text of a file.

    Parameters
    ----------
    path : str
        File as the user typed it; ``-`` is standard input.
    limit : int
        Largest size that is read. [bytes]
    what : str
        What the file should be, with an article, for messages.
    suffix : str
        Ending of such files, to list those that are there when this one is not.

    Returns
    -------
    str
        Without a byte order mark.

    Raises
    ------
    InputError
        The file is missing, a folder, too large, not UTF-8 or may not be read.
    """
    path = os.fspath(path)
    try:
        with open(0 if path == STDIN else path, "rb", closefd=path != STDIN) as file:
            data = file.read(limit + 1)
            size = max(os.fstat(file.fileno()).st_size, len(data))
    except (OSError, ValueError) as error:
        raise _unreadable(path, error, what, suffix) from error
    if len(data) > limit:
        most = f"{limit / 1e6:g} MB"
        shown = f"{size / 1e6:.1f} MB" if size > limit + 1 else f"over {most}"
        raise refused(
            f"the file is too large: {shown}",
            file=path,
            code=Code.TOO_LARGE,
            expected=f"{what} of at most {most}",
        )
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        raise refused(
            f"not UTF-8: byte 0x{data[error.start]:02x} at offset {error.start}",
            file=path,
            line=data.count(b"\n", 0, error.start) + 1,
            expected=f"{what} as UTF-8 text",
            hint="save the file as UTF-8",
            code=Code.NOT_UTF8,
        ) from error


_SYSTEM_REASONS = {
    errno.ENOENT: "no such file",
    errno.ENOTDIR: "no such file",
    errno.EISDIR: "this is a folder, not a file",
    errno.EACCES: "you may not read this file",
}


def _unreadable(path: str, error: OSError | ValueError, what: str, suffix: str) -> InputError:
    number = getattr(error, "errno", None) or 0
    inside = path
    if os.path.isdir(path.replace("\0", "")):
        number, inside = errno.EISDIR, os.path.join(path, "")
    other = (getattr(error, "strerror", None) or "not a file name").lower()
    is_elsewhere = number in _SYSTEM_REASONS and number != errno.EACCES
    return refused(
        _SYSTEM_REASONS.get(number, f"cannot be read: {other}"),
        file=path,
        expected=f"{what} file ({suffix})",
        hint=_neighbours(inside, suffix) if is_elsewhere else "",
    )


def _neighbours(path: str, suffix: str) -> str:
    """What files of the kind wanted are in the folder that a path points into."""
    folder, name = os.path.split(path)
    try:
        with os.scandir(folder or ".") as entries:
            names = sorted(
                e.name for e in itertools.islice(entries, _MAX_SCANNED) if e.name.endswith(suffix)
            )
    except OSError:
        return f"there is no folder {folder}"
    place = f"in {folder or 'this folder'}"
    if not names:
        return f"there are no {suffix} files {place}"
    near = nearest(name.removesuffix(suffix), (n.removesuffix(suffix) for n in names))
    listed = ", ".join(names[:_MAX_LISTED]) + (", ..." if len(names) > _MAX_LISTED else "")
    question = f'did you mean "{os.path.join(folder, near + suffix)}"? ' if near else ""
    return f"{question}{place}: {listed}"


# --- faults and lines

MAX_FAULTS = 100
"""Faults that are gathered before the reader gives up: a file with more is not a scenario."""

_MAX_LINE_TEXT = 160


@dataclass
class Collector:
    """Faults of one input, each completed with its line and what stands there.

    Attributes
    ----------
    file : str
        Name of the input as the user typed it.
    lines : tuple of str
        The file, line by line.
    where : dict of str to int
        Line, from 1, on which a path first stands. Entries of lists are counted from 1.
    origins : dict of str to str
        Paths that came from an option instead of the file, with the option's text.
    """

    file: str
    lines: tuple[str, ...] = ()
    where: dict[str, int] = field(default_factory=dict)
    origins: dict[str, str] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    def line(self, path: str) -> int | None:
        """Line of a path, or of the table around it; None when neither stands in the file."""
        while path and path not in self.where:
            path = path.rpartition(".")[0]
        return self.where.get(path)

    def text(self, line: int | None) -> str:
        """Text of a line; empty without one."""
        return self.lines[line - 1] if line is not None and 0 < line <= len(self.lines) else ""

    @property
    def full(self) -> bool:
        """Whether enough has been found to stop looking."""
        return len(self.faults) >= MAX_FAULTS

    def add(self, fault: Fault, key: str | None = None) -> None:
        """Note a fault; its file and line are filled in from its key."""
        key = fault.key if key is None else key
        origin, line = self._origin(key), fault.line or self.line(key)
        place: dict[str, Any] = {"file": "--set", "line_text": origin}
        if origin is None:
            place = dict(file=self.file, line=line, line_text=shortened(self.text(line)))
        if not self.full:
            self.faults.append(replace(fault, key=key, **place))

    def has_fault_in(self, table: str) -> bool:
        """Whether this table or one of its keys already has a fault."""
        return any(table in (fault.key, fault.key.rpartition(".")[0]) for fault in self.faults)

    def raise_if_any(self) -> None:
        """Raise all that was gathered, where there is at least one fault."""
        if self.faults:
            raise self.error()

    def error(self, *last: Fault) -> InputError:
        """All that was gathered, with a last fault, in the order of the lines."""
        for fault in last:
            self.add(fault)
        faults = sorted(self.faults, key=lambda fault: (fault.line is None, fault.line or 0))
        if self.full:
            faults.append(
                Fault(
                    "more problems may follow; only the first are listed",
                    file=self.file,
                    code=Code.MORE,
                )
            )
        return InputError(tuple(faults))

    def _origin(self, key: str) -> str | None:
        """Text of the option that set a path, or a table around it, or that made its table where
        the file has none."""
        tables = list(itertools.accumulate(key.split("."), "{}.{}".format))
        found = [self.origins[path] for path in tables if path in self.origins]
        if not found and tables[1:] and self.line(key) is None:
            found = [text for p, text in self.origins.items() if p.startswith(f"{tables[-2]}.")]
        return found[-1] if found else None


def shortened(text: str, limit: int = _MAX_LINE_TEXT) -> str:
    """Text cut to a length that fits a message."""
    return text if len(text) <= limit else text[: limit - 3] + "..."


# --- TOML

MAX_ITEMS = 20_000
"""Most keys, tables and list entries together, about."""

_PART = r"""(?:[^\s.=\[\]{}"'#,]+|"[^"\n]*"|'[^'\n]*')"""
_PATH = rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*"
_LINE = re.compile(rf"[ \t]*(?:(\[\[?)[ \t]*({_PATH})[ \t]*\]|({_PATH})[ \t]*=)")
_LONG_QUOTE = re.compile(r'"""|\'\'\'')
_QUOTES = "\"'"
MOST_PARTS = 12
_DEEP_KEY = re.compile(rf"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){{{MOST_PARTS}}}""")


_TOML_REASONS = {
    "declare": "this table stands in the file twice, or once with other brackets",
    "overwrite": "this key stands in its table twice",
    "nterminated": "a text without its closing quote",
    "Illegal character": "a text without its closing quote on the same line",
    "newline or end": "more on this line than key = value",
    "nvalid value": "a value that cannot be read",
    "nvalid statement": "neither a [table] nor key = value",
    "'='": "neither a [table] nor key = value",
    "nclosed": "a closing bracket is missing above",
    "']'": "a closing bracket is missing",
    "Expected": "the file ends too early: a closing quote or bracket is missing",
}
"""What the TOML reader finds, by a part of its message, in other words."""


def read_toml(text: str, name: str) -> tuple[dict[str, Any], Collector]:
    """Raw tables of a text, and a collector that knows the lines of their keys.

    Parameters
    ----------
    text : str
    name : str
        What a fault calls it.

    Raises
    ------
    InputError
        The text is no TOML, is empty, or has far more keys, or deeper ones, than a scenario: these
        are refused before the TOML reader, which would be busy with them for long.
    """
    if sum(map(text.count, "=,[")) > MAX_ITEMS:
        raise refused(
            f"more than {MAX_ITEMS} keys and values",
            file=name,
            hint="this is no scenario file",
            code=Code.BROKEN_TOML,
        )
    faults = index_lines(text, name)
    if deep := _DEEP_KEY.search(text):
        line = text.count("\n", 0, deep.start()) + 1
        raise _broken(faults, "nested far too deeply", line, "this is no scenario file")
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        number = re.search(r"at line (\d+)", str(error))
        line = int(number[1]) if number else len(text.rstrip().split("\n"))
        found = (words for reason, words in _TOML_REASONS.items() if reason in str(error))
        hint = _toml_hint(faults.text(line))
        raise _broken(faults, next(found, "this is not TOML"), line, hint) from error
    except (ValueError, RecursionError, OverflowError) as error:
        raise _broken(faults, "not valid TOML: a value of absurd size") from error
    if not raw:
        raise faults.error(
            Fault(
                "the file is empty",
                expected="a scenario",
                code=Code.EMPTY,
                hint='"winchsim new FILE" writes a scenario to start from',
            )
        )
    return raw, faults


def _broken(faults: Collector, message: str, line: int | None = None, hint: str = "") -> InputError:
    return faults.error(Fault(message, line=line, hint=hint, code=Code.BROKEN_TOML))


def _toml_hint(line: str) -> str:
    """What most often is wrong with a line that is no TOML."""
    value = line.partition("=")[2].strip()
    quoted = f'"{value.partition("#")[0].strip()}"'
    rows = (
        (value, r"[+-]?[0-9.,]+ *[^\W\d]", f"a value with a unit stands in quotes: {quoted}"),
        (value, r"(?!(true|false)$)[^\W\d]", f"text stands in quotes: {quoted}"),
        (line, ".*[“”‘’]", "use straight quotes"),
        (line, r"\s*[\w.]+\s*:", 'write key = value, such as mass = "25 kg"'),
    )
    return next((hint for text, pattern, hint in rows if re.match(pattern, text)), "")


def index_lines(text: str, name: str = "") -> Collector:
    """Collector that knows the lines of a TOML text, broken or not, with ``\\n`` or ``\\r\\n``
    line ends."""
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
    return Collector(name, lines, where)
