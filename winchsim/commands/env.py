"""What a command gets from outside, so that tests can put something else in its place; and the exit codes."""

from __future__ import annotations

import enum
import os
import sys
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import TextIO

from winchsim.report.paint import Paint, use_colour


class ExitCode(enum.IntEnum):
    """What the number that winchsim ends with says."""

    GOOD = 0
    """Ran; lifted as asked, and nothing dangerous was found."""
    BAD = 1
    """Ran; the load was not lifted as asked, or a danger was found."""
    MISUSE = 2
    """Bad arguments or bad input; nothing was run."""
    NO_TRUST = 3
    """Ran, without a result that can be trusted (solver, energy, budget)."""
    INTERNAL = 4
    """A fault of winchsim itself."""
    INTERRUPTED = 130
    """Interrupted by the user (128 + SIGINT)."""
    PIPE_CLOSED = 141
    """Whoever read the output stopped reading (128 + SIGPIPE): says nothing about the lift."""


@dataclass
class Env:
    """Streams, surroundings and clock of one call of the command line.

    Attributes
    ----------
    stdout, stderr : TextIO
        Results; and everything else (errors, progress, files written).
    environ : Mapping of str to str
        Environment variables.
    stdout_is_terminal, stderr_is_terminal : bool
        Whether somebody sees the stream directly.
    workers : int
        Processes that a long study may use.
    clock : callable
        Seconds that only go forward, for progress.
    colour : str
        ``auto``, ``always`` or ``never``, as the option says.
    """

    stdout: TextIO
    stderr: TextIO
    environ: Mapping[str, str] = field(default_factory=dict)
    stdout_is_terminal: bool = False
    stderr_is_terminal: bool = False
    workers: int = 1
    clock: Callable[[], float] = time.monotonic
    colour: str = "auto"

    @classmethod
    def of_process(cls) -> Env:
        """The streams and surroundings of this process."""
        for stream in (sys.stdout, sys.stderr):
            if hasattr(stream, "reconfigure"):  # a locale without °, Ω or · must not stop a result
                stream.reconfigure(errors="backslashreplace")
        return cls(
            sys.stdout,
            sys.stderr,
            os.environ,
            sys.stdout.isatty(),
            sys.stderr.isatty(),
            os.cpu_count() or 1,
        )

    @property
    def paint(self) -> Paint:
        """Colours for results."""
        return Paint(use_colour(self.colour, self.environ, self.stdout_is_terminal))

    @property
    def error_paint(self) -> Paint:
        """Colours for errors."""
        return Paint(use_colour(self.colour, self.environ, self.stderr_is_terminal))

    def out(self, text: str) -> None:
        """Write part of the result."""
        self.stdout.write(text if text.endswith("\n") else text + "\n")

    def note(self, text: str) -> None:
        """Write something that is not part of the result."""
        self.stderr.write(text if text.endswith("\n") else text + "\n")
