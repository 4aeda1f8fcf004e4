"""TOML text read into raw tables, or one fault that says where it breaks."""

import re
import tomllib
from typing import Any

from winchsim.errors import Code, InputError, refused
from winchsim.scenario.faults import shortened
from winchsim.scenario.lines import MOST_PARTS, LineIndex, index_lines

MAX_ITEMS = 20_000
"""Most keys, tables and list entries together, about."""

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


def read_toml(text: str, name: str) -> tuple[dict[str, Any], LineIndex]:
    """Raw tables of a text, and the lines of their keys.

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
        message = f"more than {MAX_ITEMS} keys and values"
        raise _broken(name, LineIndex(), None, message, "this is no scenario file")
    index = index_lines(text)
    if deep := _DEEP_KEY.search(text):
        line = text.count("\n", 0, deep.start()) + 1
        raise _broken(name, index, line, "nested far too deeply", "this is no scenario file")
    try:
        raw = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        number = re.search(r"at line (\d+)", str(error))
        line = int(number[1]) if number else len(text.rstrip().split("\n"))
        found = (words for reason, words in _REASONS.items() if reason in str(error))
        message = next(found, "this is not TOML")
        raise _broken(name, index, line, message, _toml_hint(index.text(line))) from error
    except (ValueError, RecursionError, OverflowError) as error:
        raise _broken(name, index, None, "not valid TOML: a value of absurd size", "") from error
    if not raw:
        hint = '"winchsim new FILE" writes a scenario to start from'
        expected = "a scenario"
        raise refused("the file is empty", file=name, expected=expected, hint=hint, code=Code.EMPTY)
    return raw, index


def _broken(name: str, index: LineIndex, line: int | None, message: str, hint: str) -> InputError:
    text = shortened(index.text(line))
    place: dict[str, Any] = {"file": name, "line": line, "line_text": text}
    return refused(message, hint=hint, code=Code.BROKEN_TOML, **place)


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
