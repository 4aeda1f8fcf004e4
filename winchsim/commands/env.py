"""What a command gets from outside, so that tests can put something else in its place; and the exit
codes."""

import contextlib
import enum
import errno
import io
import json
import os
import re
import shutil
import sys
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import field
from typing import Any, Self, TextIO

from winchsim.frozen import dataclass
from winchsim.report.render.options import Options, plain_characters, use_colour
from winchsim.report.writing import refusals

NARROWEST, WIDEST = 60, 120
"""Columns of text. [-]"""

QUIET_FOR = 1.0
"""No progress is shown before this time. [s]"""


class ExitCode(enum.IntEnum):
    """What the number that winchsim ends with says."""

    GOOD = 0
    """Ran; all goes as asked, and no check fails."""
    BAD = 1
    """Ran; the target is missed, or a check fails."""
    MISUSE = 2
    """Bad arguments, bad input, or a place that results cannot be written to."""
    NO_TRUST = 3
    """Ran, without a result that can be trusted (solver, energy, budget)."""
    INTERNAL = 4
    """A fault of winchsim itself."""
    INTERRUPTED = 130
    """Interrupted by the user (128 + SIGINT)."""
    PIPE_CLOSED = 141
    """Whoever read the output stopped reading (128 + SIGPIPE): says nothing about the lift."""


class _Closed(io.TextIOBase):
    """Stream that was closed before the process began."""

    def write(self, text: str) -> int:
        raise OSError(errno.EBADF, os.strerror(errno.EBADF))


def _lacks_characters(stream: TextIO) -> bool:
    """Whether a stream cannot show every character."""
    return not (getattr(stream, "encoding", None) or "utf").lower().startswith("utf")


def _whole(stream: Any) -> Any:
    """A stream that hands on all of a text or says that it cannot; without a buffer (``python -u``)
    the rest would be lost."""
    if not isinstance(getattr(stream, "buffer", None), io.RawIOBase):
        return stream
    return open(stream.fileno(), "w", encoding=stream.encoding, closefd=False)


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
    width : int
        Columns of the terminal. [-]
    as_json : bool
        Whether the result is JSON.
    """

    stdout: TextIO
    stderr: TextIO
    environ: Mapping[str, str] = field(default_factory=dict)
    stdout_is_terminal: bool = False
    stderr_is_terminal: bool = False
    workers: int = 1
    clock: Callable[[], float] = time.monotonic
    colour: str = "auto"
    width: int = 80
    as_json: bool = False

    @classmethod
    def of_process(cls) -> Self:
        """The streams and surroundings of this process."""
        out: Any = _whole(sys.stdout or _Closed())
        err: Any = sys.stderr or _Closed()
        for stream in (out, err):
            if hasattr(stream, "reconfigure"):  # a locale without °, Ω or · must not stop a result
                stream.reconfigure(errors="backslashreplace")
        seen, workers = (out.isatty(), err.isatty()), os.cpu_count() or 1
        width = shutil.get_terminal_size((80, 25)).columns if seen[0] else 80
        return cls(out, err, os.environ, *seen, workers, width=width)

    @property
    def columns(self) -> int:
        """Columns of text that suit the terminal. [-]"""
        return min(max(self.width, NARROWEST), WIDEST)

    def rendering(self, *, us: bool = False, full: bool = False) -> Options:
        """How a document is rendered on standard output."""
        return Options(
            width=self.columns,
            colour=self.coloured(self.stdout_is_terminal),
            us=us,
            plain=_lacks_characters(self.stdout),
            full=full,
        )

    def coloured(self, is_terminal: bool) -> bool:
        """Whether a stream is coloured."""
        return use_colour(self.colour, self.environ, is_terminal)

    def out(self, text: str) -> None:
        """Write part of the result, and hand it on.

        Raises
        ------
        OutputError
            It cannot be written.
        BrokenPipeError
            Whoever read it has gone away.
        """
        with refusals("standard output"):
            self.stdout.write(self._fitted(text, self.stdout))
            self.stdout.flush()

    def note(self, text: str) -> None:
        """Write something that is not part of the result."""
        self.show(self._fitted(text, self.stderr))

    def _fitted(self, text: str, stream: TextIO) -> str:
        """Text with a line end, in characters that the stream has; JSON keeps its meaning."""
        if _lacks_characters(stream) and not text.isascii():
            escaped = re.sub(r"[^\x00-\x7f]", lambda c: json.dumps(c[0])[1:-1], text)
            text = escaped if self.as_json else plain_characters(text)
        return text if text.endswith("\n") else text + "\n"

    def show(self, text: str) -> None:
        """Write to standard error as it is and at once. Where that takes nothing, nobody can be
        told, and the result counts."""
        with contextlib.suppress(OSError):
            self.stderr.write(text)
            self.stderr.flush()

    @contextlib.contextmanager
    def progress(self, what: str) -> Iterator[Callable[[int, int], None]]:
        """Shows ``what: 3 of 8`` on standard error while that is a terminal, and clears the line at
        the end.

        Parameters
        ----------
        what : str
            What is counted.

        Yields
        ------
        callable
            To be told how many are done, and of how many.
        """
        begun, width = self.clock(), 0

        def tell(done: int, total: int) -> None:
            nonlocal width
            passed = self.clock() - begun
            left = (
                f", about {passed / done * (total - done):.0f} s left" if 0 < done < total else ""
            )
            text = f"{what}: {done} of {total}{left}"
            if self.stderr_is_terminal and passed >= QUIET_FOR:
                self.show("\r" + text.ljust(width))
                width = max(width, len(text))

        try:
            yield tell
        finally:
            if width:
                self.show("\r" + " " * width + "\r")
