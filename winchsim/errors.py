"""The errors that winchsim raises on purpose, and their codes.

The whole tree::

    WinchsimError                 exit 4 unless a row below says otherwise
    ├── DomainError (ValueError)  W-D01  a function was given a value outside the range it is valid in   exit 2
    ├── InputError                W-S01  a scenario, a sheet or an option cannot be read as meant        exit 2
    ├── OutputError               W-F01  a result could not be written, or would overwrite a file         exit 2
    └── TrustError                W-T01  the computation ended without a result that can be trusted       exit 3

Every error keeps its facts as attributes and survives pickling, so that worker processes can raise them too.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any


class WinchsimError(Exception):
    """Root of every error that winchsim raises on purpose."""

    code = "W-000"
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

    code = "W-D01"
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
        Path into the file, counted from 1 at the motors (``stage.3.walls``); empty for the file as a whole.
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
    code : str
        Stable short code, listed in DEVELOPERS.md.
    """

    message: str
    key: str = ""
    file: str = ""
    line: int | None = None
    line_text: str = ""
    got: str = ""
    expected: str = ""
    hint: str = ""
    code: str = "W-S01"


class InputError(WinchsimError):
    """A scenario, a test sheet or an option that cannot be read as meant: all its faults at once.

    Parameters
    ----------
    faults : tuple of Fault
        At least one.
    """

    code = "W-S01"
    exit_code = 2

    def __init__(self, faults: tuple[Fault, ...]) -> None:
        super().__init__(faults)
        self.faults = tuple(faults)

    def __str__(self) -> str:
        return "; ".join(f"{fault.key or fault.file or 'input'}: {fault.message}" for fault in self.faults)


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

    code = "W-F01"
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

    code = "W-T01"
    exit_code = 3

    def __init__(self, reason: str, help: str = "") -> None:
        super().__init__(reason, help)
        self.reason = reason
        self.help = help

    def __str__(self) -> str:
        return self.reason + (f" {self.help}" if self.help else "")
