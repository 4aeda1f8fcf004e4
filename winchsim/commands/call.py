"""One call of the command line: what it gets from outside, so that tests can put something else in
its place; the exit codes; its arguments; and where its results go. What would be refused after the
work is refused before it."""

import contextlib
import enum
import errno
import io
import json
import os
import re
import shlex
import shutil
import sys
import textwrap
import time
from argparse import SUPPRESS, ArgumentParser, Namespace, RawDescriptionHelpFormatter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field
from functools import partial
from importlib import import_module
from typing import Any, NoReturn, Self, TextIO

from winchsim.errors import Code, InputError, OutputError, did_you_mean, refused
from winchsim.frozen import dataclass, replace
from winchsim.report import json_text
from winchsim.report.document import Document
from winchsim.report.render.options import Options, plain_characters, use_colour
from winchsim.report.render.text import render_text
from winchsim.report.writing import check_file, check_folder, refusals, write_file, write_folder
from winchsim.units import parse_quantity

NARROWEST, WIDEST = 60, 120
"""Columns of text. [-]"""

QUIET_FOR = 1.0
"""No progress is shown before this time. [s]"""

STDOUT = "-"
"""Name of a file that means standard output."""

READ = ("file", "tests", "measured", "parts")
"""Options that name a file to read; `files` names several."""


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


# --- arguments

Argument = tuple[str, dict[str, Any]]


def argument(name: str, metavar: str, help: str, **facts: Any) -> Argument:
    """One argument of a command that takes a value; `facts` as `argparse` has them."""
    return name, {"metavar": metavar, "help": help, **facts}


def choice(name: str, words: Sequence[str], help: str, **facts: Any) -> Argument:
    """An option that takes one of some words."""
    return name, {"choices": words, "help": help, **facts}


def flag(name: str, help: str, **facts: Any) -> Argument:
    """An option without a value."""
    return name, {"action": "store_true", "help": help, **facts}


COMMON = (
    choice("--color", ("auto", "always", "never"), "when to use colour", default=SUPPRESS),
    flag("--debug", "show the traceback of an internal fault", default=SUPPRESS),
)
"""Options that stand before or after a command's name."""


@dataclass(frozen=True)
class Command:
    """One command.

    Attributes
    ----------
    name : str
        Word that calls it.
    summary : str
        One clause for the list of commands.
    example : str
        A command line that works.
    arguments : sequence of Argument
        Besides those that every command has.
    details : str
        More about it, for its own help.
    file : str
        Name of the option that names one file to write; empty for none.
    module : str
        Module of `winchsim.commands` that does the work, where it has another name. Its ``run`` is
        called with the options and an `Env`, and returns an exit code.
    names : sequence of str, or callable
        Plain names of all files that may go into the folder ``--out``, with ``{}`` for the name of
        the command; or from the options to these.
    """

    name: str
    summary: str
    example: str
    arguments: Sequence[Argument]
    details: str = ""
    file: str = ""
    module: str = ""
    names: Sequence[str] | Callable[[Namespace], Sequence[str]] = ()

    def run(self, options: Namespace, env: Env) -> int:
        """Import its module, do the work, and return the exit code."""
        return int(import_module(f"winchsim.commands.{self.module or self.name}").run(options, env))

    def written(self, options: Namespace) -> list[str]:
        """Plain names of all files that it may write into its folder."""
        names = self.names(options) if callable(self.names) else self.names
        return [name.format(self.name) for name in names]

    def add(self, commands: Any) -> None:
        """Add its parser to the subparsers of another one."""
        about = [f"{self.summary[:1].upper()}{self.summary[1:]}.", self.details]
        parser: Parser = commands.add_parser(
            self.name, help=self.summary, description=about, epilog=f"example:\n  {self.example}"
        )
        parser.set_defaults(command=self, parser=parser)
        parser.add(
            flag("--json", "print one JSON document instead of text"), *COMMON, *self.arguments
        )


class HelpShownError(Exception):
    """Help or the version was printed; nothing else is to be done."""


class Parser(ArgumentParser):
    """Argument parser that raises instead of ending the process, and names the nearest word for a
    wrong one."""

    def __init__(
        self, *args: Any, env: Env, description: Sequence[str] = (), **kwargs: Any
    ) -> None:
        self.env, width = env, env.columns
        kwargs |= {
            "description": "\n\n".join(textwrap.fill(part, width) for part in description if part),
            "formatter_class": partial(
                RawDescriptionHelpFormatter, max_help_position=28, width=width
            ),
            "allow_abbrev": False,
        }
        super().__init__(*args, **kwargs)

    def add(self, *arguments: Argument) -> None:
        """Add arguments."""
        for name, facts in arguments:
            self.add_argument(name, **facts)

    def error(self, message: str) -> NoReturn:
        """Raise what is wrong with the arguments."""
        raise usage_error(message, f"{self.prog} -h shows what it takes")

    def exit(self, status: int = 0, message: str | None = None) -> NoReturn:
        """Leave after help or the version."""
        raise HelpShownError

    def _print_message(self, message: str, file: Any = None) -> None:
        self.env.out(message)

    def refuse_unknown(self, arguments: Iterable[str]) -> None:
        """Raise for arguments that nobody took, with the option that each may have meant."""
        for word in arguments:
            hint = did_you_mean(word.partition("=")[0], self._option_string_actions)
            raise usage_error(
                f"unknown argument {word}", hint or f"{self.prog} -h shows what it takes"
            )


def quantity_of(option: str, text: str | None, unit: str) -> Any:
    """SI value of an option's text, None where it was left out; a fault names the option."""
    try:
        return None if text is None else parse_quantity(text, unit)
    except InputError as error:
        raise InputError(tuple(replace(f, key=option) for f in error.faults)) from error


def refuse(*rules: tuple[object, str, str]) -> None:
    """Raise the first of several usage errors whose condition holds: condition, message, hint."""
    for is_wrong, message, hint in rules:
        if is_wrong:
            raise usage_error(message, hint)


def usage_error(message: str, hint: str) -> InputError:
    """What is wrong with the arguments, as an input error."""
    expected, choice = "", re.search(r"invalid choice: '(.*?)' \(choose from (.*)\)", message)
    if choice:
        words = re.findall(r"[\w-]+", choice[2])
        kind = "command" if message.startswith("argument COMMAND") else "choice"
        message, expected = f"unknown {kind} {choice[1]!r}", "one of: " + ", ".join(words)
        hint = did_you_mean(choice[1], words) or hint
    return refused(message, expected=expected, hint=hint, code=Code.USAGE)


# --- results


def check_outputs(options: Namespace, env: Env) -> None:
    """Raise what writing the results would, before the work that makes them.

    Parameters
    ----------
    options : Namespace
        Of any command; without an option that names a place nothing is checked.
    env : Env
        Where files of an earlier run that was killed are reported.

    Raises
    ------
    OutputError
        A file is in the way, a place is missing or cannot be written to, two results would go into
        one file, or one into a file that the command reads.
    """
    file = getattr(options, options.command.file or "file_written", None)
    folder = getattr(options, "out", None)
    alone = [] if file in (None, STDOUT) else _with_about([str(file)])
    names = [] if folder is None else _with_about(options.command.written(options))
    _refuse_mixtures(options, [*(os.path.join(folder or "", name) for name in names), *alone])
    unfinished = [name for path in alone for name in check_file(path, force=options.force)]
    if folder is not None:
        unfinished += check_folder(folder, names, force=options.force)
    if unfinished:
        place = folder or os.path.dirname(file or "") or "."
        env.note(
            f"{place}: an earlier run was stopped while it wrote {', '.join(unfinished)}\n"
            "   these files may be of two runs: write them again"
        )


def _with_about(names: Sequence[str]) -> list[str]:
    return [*names, *filter(None, map(_beside, names))]


def _beside(path: str) -> str:
    """File beside a CSV that holds the cautions; empty for another file."""
    return f"{path[:-4]}.about.json" if path.lower().endswith(".csv") else ""


def _about(path: str, options: Namespace, about: Mapping[str, Any]) -> str:
    """Where a table is from, and the cautions about it, as JSON."""
    from winchsim.report.words.advice import CAUTIONS

    return json_text.document(
        about=os.path.basename(path),
        command=options.command.name,
        files=getattr(options, "files", None) or [options.file],
        overrides=options.overrides,
        cautions=list(CAUTIONS.values()),
        **about,
    )


def _completed(
    files: Mapping[str, str | bytes], options: Namespace, about: Mapping[str, Any]
) -> dict[str, str | bytes]:
    """Files with what goes beside each CSV."""
    tables = filter(_beside, files)
    return {**files, **{_beside(name): _about(name, options, about) for name in tables}}


def write_csv(options: Namespace, env: Env, text: str, **about: Any) -> None:
    """Write the table that ``--csv`` names with its cautions beside it; ``-`` is standard output.

    Parameters
    ----------
    options : Namespace
    env : Env
        Its standard error gets the cautions where there is no file beside which they could be.
    text : str
        The table.
    **about
        More for the file beside it: digest of the scenario, events.
    """
    from winchsim.report.words.advice import CAUTIONS

    files = {} if options.csv == STDOUT else _completed({options.csv: text}, options, about)
    if not files:
        env.out(text)
    if len(files) < 2:
        env.note("\n".join(CAUTIONS.values()))
    for path, content in files.items():
        write_file(path, content, force=options.force)
        env.note(f"wrote {path}")


def present(options: Namespace, env: Env, document: Document, json: Callable[[], str]) -> None:
    """Print the result: its JSON where that is asked for, else the document as text."""
    rendering = env.rendering(us=options.units == "us", full=getattr(options, "full", True))
    env.out(json() if options.json else render_text(document, rendering))


def again(options: Namespace) -> str:
    """The same command line with all details, without the files that it writes."""
    words = (word for word in options.words if word not in ("--force", "--full", "--json"))
    kept = [word for word in words if not (word in ("--out", "--csv") and next(words))]
    return shlex.join(["winchsim", *kept, "--full"])


def _refuse_mixtures(options: Namespace, written: Iterable[str]) -> None:
    """Refuse a result that would go into the file of another one, or into a file which the command
    reads, whatever the user says of replacing files."""
    read = [getattr(options, name, None) for name in READ if name != options.command.file]
    sources = (p for p in [*read, *getattr(options, "files", [])] if p and "\0" not in p)
    taken = dict.fromkeys(map(os.path.realpath, sources), "this file is read by the same command")
    for path in written:
        real = os.path.realpath(path)
        if real in taken:
            raise OutputError(
                path, f"{taken[real]}; nothing was written", "give the result another name"
            )
        taken[real] = "two results would go into this file"


def write_out(
    options: Namespace, env: Env, files: Mapping[str, str | bytes], **about: Any
) -> list[str]:
    """Write into the folder that ``--out`` names, and say what was written.

    Parameters
    ----------
    options : Namespace
    env : Env
    files : Mapping of str to str or bytes
        Content by plain name; every name is one that was announced, so that `check_outputs` has
        looked for it.
    **about
        More for the files beside tables: digest of the scenario, events.

    Returns
    -------
    list of str
        Paths written.
    """
    files = _completed(files, options, about)
    if unannounced := files.keys() - set(_with_about(options.command.written(options))):
        raise ValueError(f"not announced: {sorted(unannounced)}")
    paths = write_folder(options.out, files, force=options.force)
    for path in paths:
        env.note(f"wrote {path}")
    return paths


def finish(
    options: Namespace,
    env: Env,
    digest: str,
    document: Document,
    json: Callable[[], str],
    csv: Callable[[], str] | None = None,
    result: Any = None,
) -> None:
    """Write the files of a study where asked to, and print the result.

    Parameters
    ----------
    options : Namespace
    env : Env
    digest : str
        SHA-256 of the scenario.
    document : Document
    json, csv : callable
        Texts of these files.
    result : object, optional
        Of the study, which the document's figure shows.
    """
    if options.out:
        from winchsim.report.bundle import study_files

        files = study_files(
            document, options.command.name, digest, json, csv, result, us=options.units == "us"
        )
        write_out(options, env, files, digest=digest)
    present(options, env, document, json)
