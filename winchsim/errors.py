"""The errors that winchsim raises on purpose.

`InputError` (a scenario, a sheet or an option cannot be read as meant), `DomainError` (a function
was given a value outside the range that it is valid in) and `OutputError` (a result could not be
written, or would overwrite a file) end with exit code 2, `TrustError` (no result that can be
trusted) with 3, anything else with 4. Every error keeps its facts as attributes and survives
pickling, so that worker processes can raise them too.
"""

import difflib
from collections.abc import Iterable
from enum import StrEnum
from typing import Any

from winchsim.frozen import dataclass

LEAST_ALIKE = 0.5
"""How much a known word must look like a given one to be suggested: 1 is the same. [-]"""

MOST_COMPARED = 80
"""Characters of a word that are compared. [-]"""


Code = StrEnum(
    "Code",
    {
        "INTERNAL": "internal fault",
        "USAGE": "command line",
        "OUT_OF_RANGE": "out of range",
        "NOT_WRITTEN": "not written",
        "NO_TRUST": "not trusted",
        "UNREADABLE": "unreadable",
        "TOO_LARGE": "too large",
        "NOT_UTF8": "not UTF-8",
        "BROKEN_TOML": "broken TOML",
        "EMPTY": "empty",
        "UNKNOWN_KEY": "unknown key",
        "MISSING": "missing",
        "WRONG_TYPE": "wrong type",
        "OUT_OF_BOUNDS": "out of bounds",
        "NO_SUCH_CHOICE": "no such choice",
        "CONTRADICTION": "contradiction",
        "UNKNOWN_NAME": "unknown name",
        "TOO_MUCH": "too much",
        "BAD_OVERRIDE": "bad override",
        "MORE": "more faults",
        "NOT_A_NUMBER": "not a number",
        "NO_UNIT": "no unit",
        "UNKNOWN_UNIT": "unknown unit",
        "WRONG_DIMENSION": "wrong dimension",
        "CANNOT_REWRITE": "cannot be rewritten",
        "SHEET_COLUMN": "wrong column",
        "SHEET_CELL": "wrong cell",
        "NOTHING_TO_FIT": "nothing to fit",
        "NO_BUILD": "no build",
    },
)
"""What sort of thing is wrong: stable words for programs that read the JSON of an error."""


class WinchsimError(Exception):
    """Root of every error that winchsim raises on purpose."""

    code = Code.INTERNAL

    @property
    def exit_code(self) -> int:
        """Exit code of a command that ends with it."""
        return {Code.INTERNAL: 4, Code.NO_TRUST: 3}.get(self.code, 2)


@dataclass(eq=False)
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

    argument: str
    value: Any
    expected: str

    def __str__(self) -> str:
        return f"{self.argument} is {self.value!r}; expected {self.expected}"


def refuse_if(is_wrong: object, argument: str, value: Any, expected: str) -> None:
    """Raise a `DomainError` of these facts where a value is wrong.

    The facts are there either way: what every build calls composes its texts behind an `if`.
    """
    if is_wrong:
        raise DomainError(argument, value, expected)


class UnknownPathError(DomainError):
    """A path that names no value of a scenario; its `value` is the part that is not there."""

    def __str__(self) -> str:
        return f"{self.argument}: there is no {self.value!r}; expected {self.expected}"


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


@dataclass(eq=False)
class InputError(WinchsimError):
    """A scenario, a test sheet or an option that cannot be read as meant: all its faults at once.

    Parameters
    ----------
    faults : tuple of Fault
        At least one.
    """

    code = Code.UNREADABLE

    faults: tuple[Fault, ...]

    def __str__(self) -> str:
        return "; ".join(
            f"{fault.key or fault.file or 'input'}: {fault.message}" for fault in self.faults
        )


def refused(message: str, key: str = "", **facts: Any) -> InputError:
    """An error of one fault; `facts` as `Fault` takes them."""
    return InputError((Fault(message, key, **facts),))


@dataclass(eq=False)
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

    path: str
    reason: str
    hint: str = ""

    def __str__(self) -> str:
        return f"{self.path}: {self.reason}" + (f" ({self.hint})" if self.hint else "")


@dataclass(eq=False)
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

    reason: str
    help: str = ""

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
