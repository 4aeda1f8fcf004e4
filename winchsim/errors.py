"""The errors that winchsim raises on purpose, and their codes.

The whole tree::

    WinchsimError                 exit 4 unless a row below says otherwise
    ├── DomainError (ValueError)  W-D01  a function was given a value outside the range it is valid
    in   exit 2 ├── InputError                W-S01  a scenario, a sheet or an option cannot be read
    as meant        exit 2 ├── OutputError               W-F01  a result could not be written, or
    would overwrite a file         exit 2 └── TrustError                W-T01  the computation ended
    without a result that can be trusted       exit 3

Every error keeps its facts as attributes and survives pickling, so that worker processes can raise
them too.
"""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass
from enum import StrEnum
from typing import Any

LEAST_ALIKE = 0.5
"""How much a known word must look like a given one to be suggested: 1 is the same. [-]"""

MOST_COMPARED = 80
"""Characters of a word that are compared. [-]"""


class Code(StrEnum):
    """Stable short code of everything that can be wrong, with what it means."""

    meaning: str

    def __new__(cls, value: str, meaning: str) -> Code:
        """A code with its meaning."""
        code = str.__new__(cls, value)
        code._value_ = value
        code.meaning = meaning
        return code

    INTERNAL = "W-000", "internal fault"
    USAGE = "W-C01", "bad command line"
    OUT_OF_RANGE = "W-D01", "value outside a function's range"
    NOT_WRITTEN = "W-F01", "cannot write, or would overwrite"
    NO_TRUST = "W-T01", "no result that can be trusted"
    UNREADABLE = "W-S01", "file missing or unreadable"
    TOO_LARGE = "W-S02", "file too large"
    NOT_UTF8 = "W-S03", "not UTF-8"
    BROKEN_TOML = "W-S04", "broken or absurd TOML"
    EMPTY = "W-S05", "empty file"
    UNKNOWN_KEY = "W-S10", "unknown key or table"
    MISSING = "W-S11", "key, table or column missing"
    WRONG_TYPE = "W-S12", "wrong type, unit missing on a bare number"
    OUT_OF_BOUNDS = "W-S13", "out of bounds, not finite"
    NO_SUCH_CHOICE = "W-S14", "not one of the choices"
    CONTRADICTION = "W-S15", "values contradict each other, or no winch can be built with one"
    UNKNOWN_NAME = "W-S16", "unknown material, rope or path"
    TOO_MUCH = "W-S17", "more than is taken (tables, rows, text)"
    BAD_OVERRIDE = "W-S18", "`--set` not of the form path=value"
    MORE = "W-S19", "more faults than are listed"
    NOT_A_NUMBER = "W-S20", "not one finite number"
    NO_UNIT = "W-S21", "unit missing in a text"
    UNKNOWN_UNIT = "W-S22", "unknown or ambiguous unit"
    WRONG_DIMENSION = "W-S23", "wrong dimension"
    CANNOT_REWRITE = "W-S24", "a value cannot be written into the file"
    SHEET_COLUMN = "W-S30", "wrong column of a sheet"
    SHEET_CELL = "W-S31", "wrong cell of a sheet"
    NOTHING_TO_FIT = (
        "W-S32",
        "a sheet with nothing to fit, or a test that the scenario cannot be built for",
    )
    NO_SUCH_LINK = "W-S34", "a broken link that is not one of the build's"
    NO_BUILD = "W-S35", "no build of a spread can be made"


class WinchsimError(Exception):
    """Root of every error that winchsim raises on purpose."""

    code = Code.INTERNAL
    exit_code = 4


class DomainError(WinchsimError, ValueError):
    """A function was given a value outside the range that it is valid in.

    Parameters
    ----------
    argument : str
        Name of the argument, or the path of the input it came from (``stage.2.walls``).
    value : object
        What was given.
    expected : str
        What would have been accepted, in words.
    """

    code = Code.OUT_OF_RANGE
    exit_code = 2

    def __init__(self, argument: str, value: Any, expected: str) -> None:
        super().__init__(argument, value, expected)
        self.argument = argument
        self.value = value
        self.expected = expected

    def __str__(self) -> str:
        return f"{self.argument} is {self.value!r}; expected {self.expected}"


class UnknownPathError(DomainError):
    """A path that names no value of a scenario; its `value` is the part that is not there."""


@dataclass(frozen=True)
class Fault:
    """One thing that is wrong with one place of an input.

    Attributes
    ----------
    message : str
        What is wrong, in one short clause.
    key : str
        Path into the file, counted from 1 at the motors (``stage.3.walls``); empty for the file as
        a whole.
    file : str
        File as the user typed it; empty when the value came from Python.
    line : int or None
        Line in the file, from 1.
    line_text : str
        That line as it stands in the file.
    got : str
        What was read there.
    expected : str
        What is accepted there.
    hint : str
        The nearest known key, or the spelling to use; may be empty.
    code : Code
    """

    message: str
    key: str = ""
    file: str = ""
    line: int | None = None
    line_text: str = ""
    got: str = ""
    expected: str = ""
    hint: str = ""
    code: Code = Code.UNREADABLE


class InputError(WinchsimError):
    """A scenario, a test sheet or an option that cannot be read as meant: all its faults at once.

    Parameters
    ----------
    faults : tuple of Fault
        At least one.
    """

    code = Code.UNREADABLE
    exit_code = 2

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__(faults)
        self.faults = tuple(faults)

    def __str__(self) -> str:
        return "; ".join(
            f"{fault.key or fault.file or 'input'}: {fault.message}" for fault in self.faults
        )


class OutputError(WinchsimError):
    """A result could not be written, or writing it would have replaced a file that was there.

    Parameters
    ----------
    path : str
        File or folder as the user typed it.
    reason : str
        What stood in the way.
    hint : str
        What to do about it.
    """

    code = Code.NOT_WRITTEN
    exit_code = 2

    def __init__(self, path: str, reason: str, hint: str = "") -> None:
        super().__init__(path, reason, hint)
        self.path = path
        self.reason = reason
        self.hint = hint

    def __str__(self) -> str:
        return f"{self.path}: {self.reason}" + (f" ({self.hint})" if self.hint else "")


class TrustError(WinchsimError):
    """The computation ended without a result that can be trusted (solver, energy, budget).

    Parameters
    ----------
    reason : str
        One sentence.
    help : str
        What the user can try.
    """

    code = Code.NO_TRUST
    exit_code = 3

    def __init__(self, reason: str, help: str = "") -> None:
        super().__init__(reason, help)
        self.reason = reason
        self.help = help

    def __str__(self) -> str:
        return self.reason + (f" {self.help}" if self.help else "")


def nearest(word: str, known: Iterable[str]) -> str:
    """Known word that looks most like a given one, whatever the capitals; empty where none does.

    Parameters
    ----------
    word : str
    known : iterable of str
    """
    folded = {name.lower(): name for name in known}
    found = difflib.get_close_matches(word[:MOST_COMPARED].lower(), folded, n=1, cutoff=LEAST_ALIKE)
    return folded[found[0]] if found else ""


def did_you_mean(word: str, known: Iterable[str]) -> str:
    """Question that names the known word nearest to a given one; empty where none is near."""
    near = nearest(word, known)
    return f'did you mean "{near}"?' if near else ""
