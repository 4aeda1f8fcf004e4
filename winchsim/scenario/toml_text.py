"""TOML text read into raw tables, or one fault that says where it breaks.

The TOML reader of the standard library does not say on which lines tables and keys start. One pass
over the lines finds table headers and the keys below them; what stands inside a value has the line
of its key.
"""

import re
import tomllib
from typing import Any

from winchsim.errors import Code, Fault, InputError, refused
from winchsim.scenario.faults import Collector, LineIndex

MAX_ITEMS = 20_000
"""Most keys, tables and list entries together, about."""

_PART = r"""(?:[^\s.=\[\]{}"'#,]+|"[^"\n]*"|'[^'\n]*')"""
_PATH = rf"{_PART}(?:[ \t]*\.[ \t]*{_PART})*"
_LINE = re.compile(rf"[ \t]*(?:(\[\[?)[ \t]*({_PATH})[ \t]*\]|({_PATH})[ \t]*=)")
_LONG_QUOTE = re.compile(r'"""|\'\'\'')
_QUOTES = "\"'"
MOST_PARTS = 12
_DEEP_KEY = re.compile(rf"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){{{MOST_PARTS}}}""")


_REASONS = {
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
        message, hint = f"more than {MAX_ITEMS} keys and values", "this is no scenario file"
        raise refused(message, file=name, hint=hint, code=Code.BROKEN_TOML)
    faults = Collector(name, index_lines(text))
    if deep := _DEEP_KEY.search(text):
        line = text.count("\n", 0, deep.start()) + 1
        raise _broken(faults, "nested far too deeply", line, "this is no scenario file")
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        number = re.search(r"at line (\d+)", str(error))
        line = int(number[1]) if number else len(text.rstrip().split("\n"))
        found = (words for reason, words in _REASONS.items() if reason in str(error))
        hint = _toml_hint(faults.index.text(line))
        raise _broken(faults, next(found, "this is not TOML"), line, hint) from error
    except (ValueError, RecursionError, OverflowError) as error:
        raise _broken(faults, "not valid TOML: a value of absurd size") from error
    if not raw:
        hint = '"winchsim new FILE" writes a scenario to start from'
        raise faults.error(
            Fault("the file is empty", expected="a scenario", hint=hint, code=Code.EMPTY)
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
