"""TOML text read into raw tables, or one fault that says where it breaks."""

from __future__ import annotations

import re
import tomllib
from typing import Any

from winchsim.errors import Code, Fault, InputError
from winchsim.scenario.faults import shortened
from winchsim.scenario.lines import MOST_PARTS, LineIndex, index_lines

MAX_ITEMS = 20_000
"""Most keys, tables and list entries together, about."""

_DEEP_KEY = re.compile(rf"""(?<![\w"'-])(?:[\w"'-]++[ \t]*+\.[ \t]*+){{{MOST_PARTS}}}""")


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
        reason, _, place = str(error).removesuffix(")").partition(" (at ")
        number = re.match(r"line (\d+)", place)
        line = int(number[1]) if number else len(text.rstrip().split("\n"))
        what = "this line is not valid TOML" if number else "the file ends too early"
        message = f"{what}: {reason[:1].lower()}{reason[1:]}"
        raise _broken(name, index, line, message, _toml_hint(index.text(line))) from error
    except (ValueError, RecursionError, OverflowError) as error:
        raise _broken(name, index, None, "not valid TOML: a value of absurd size", "") from error
    if not raw:
        hint = '"winchsim new FILE" writes a scenario to start from'
        fault = Fault("the file is empty", "", name, None, "", "", "a scenario", hint, Code.EMPTY)
        raise InputError((fault,))
    return raw, index


def _broken(name: str, index: LineIndex, line: int | None, message: str, hint: str) -> InputError:
    text = shortened(index.text(line))
    return InputError((Fault(message, "", name, line, text, hint=hint, code=Code.BROKEN_TOML),))


def _toml_hint(line: str) -> str:
    """What most often is wrong with a line that is no TOML."""
    value = line.partition("=")[2].strip()
    if re.match(r"[+-]?[0-9.,]+ *[^\W\d]", value):
        return f'a value with a unit stands in quotes: "{value.partition("#")[0].strip()}"'
    if re.match(r"[^\W\d]", value) and value not in ("true", "false"):
        return f'text stands in quotes: "{value.partition("#")[0].strip()}"'
    if re.match(r"\s*[\w.]+\s*:", line):
        return 'write key = value, such as mass = "25 kg"'
    return ""
