"""Options that say where results go: refused before any work where they would be refused after
it."""

from __future__ import annotations

import argparse
import os
from collections.abc import Callable, Iterable, Mapping, Sequence

from winchsim.commands.env import Env
from winchsim.commands.options import Parser
from winchsim.errors import OutputError

Names = Callable[[argparse.Namespace], Sequence[str]]
"""From the options to the plain names of all files that the command may write into its folder."""

STDOUT = "-"
"""Name of a file that means standard output."""

READ = ("file", "tests", "measured")
"""Options that name a file to read; `files` names several."""


def add_out_file(parser: Parser, name: str, help: str) -> None:
    """An option or argument that names one file to write.

    Parameters
    ----------
    parser : Parser
    name : str
        ``--csv``, or ``file`` for an argument.
    help : str
    """
    action = parser.add_argument(name, metavar="FILE", help=help)
    parser.set_defaults(file_written=action.dest)


def add_out_folder(parser: Parser, names: Names, help: str, default: str | None = None) -> None:
    """The option ``--out``: a folder to write several files into.

    Parameters
    ----------
    parser : Parser
    names : callable
        See `Names`.
    help : str
    default : str, optional
        Folder where the option is left out; without it nothing is written then.
    """
    parser.add_argument("--out", metavar="DIR", default=default, help=help)
    parser.set_defaults(names_written=names)


def check_outputs(options: argparse.Namespace, env: Env) -> None:
    """Raise what writing the results would, before the work that makes them.

    Parameters
    ----------
    options : argparse.Namespace
        Of any command; without an option that names a place nothing is checked.
    env : Env
        Where files of an earlier run that was killed are reported.

    Raises
    ------
    OutputError
        A file is in the way, a place is missing or cannot be written to, two results would go into
        one file, or one into a file that the command reads.
    """
    file = getattr(options, getattr(options, "file_written", ""), None)
    folder = getattr(options, "out", None)
    if file is None and folder is None:
        return
    from winchsim.report.writing import check_file, check_folder

    unfinished: tuple[str, ...] = ()
    if file is not None and file != STDOUT:
        unfinished = check_file(file, force=options.force)
        _spare_inputs(options, [file])
        if _is_csv(file):
            check_file(about_name(file), force=options.force)
    if folder is not None:
        names = announced(options)
        paths = [os.path.join(folder, name) for name in names]
        if file is not None and os.path.realpath(file) in map(os.path.realpath, paths):
            reason = "two results would go into this file; nothing was written"
            raise OutputError(file, reason, "give it another name")
        unfinished = check_folder(folder, names, force=options.force)
        _spare_inputs(options, paths)
    if unfinished:
        place = folder or os.path.dirname(file or "") or "."
        env.note(
            f"{place}: an earlier run was stopped while it wrote {', '.join(unfinished)}\n"
            "   these files may be of two runs: write them again"
        )


def announced(options: argparse.Namespace) -> tuple[str, ...]:
    """Names of all files that a command may write into its folder, with what goes beside each
    CSV."""
    names = tuple(options.names_written(options))
    return (*names, *(about_name(name) for name in names if _is_csv(name)))


def about_name(path: str) -> str:
    """File beside a CSV that holds the cautions."""
    return f"{path[:-4]}.about.json"


def _is_csv(path: str) -> bool:
    return path.lower().endswith(".csv")


def _about(path: str) -> str:
    """Cautions about a table, as JSON."""
    from winchsim.report.json_text import document
    from winchsim.report.words.advice import CAUTIONS

    return document(about=os.path.basename(path), cautions=list(CAUTIONS.values()))


def write_csv(options: argparse.Namespace, env: Env, text: str) -> None:
    """Write the table that ``--csv`` names with its cautions beside it; ``-`` is standard output.

    Parameters
    ----------
    options : argparse.Namespace
    env : Env
        Its standard error gets the cautions where there is no file beside which they could be.
    text : str
        The table.
    """
    from winchsim.report.words.advice import CAUTIONS
    from winchsim.report.writing import write_file

    if options.csv == STDOUT:
        env.out(text)
    else:
        write_file(options.csv, text, force=options.force)
        env.note(f"wrote {options.csv}")
    if options.csv != STDOUT and _is_csv(options.csv):
        write_file(about_name(options.csv), _about(options.csv), force=options.force)
    else:
        env.note("\n".join(CAUTIONS.values()))


def _spare_inputs(options: argparse.Namespace, written: Iterable[str]) -> None:
    """Refuse a result that would go into a file which the command reads, whatever the user says of
    replacing files."""
    read = [
        getattr(options, name, None)
        for name in READ
        if name != getattr(options, "file_written", "")
    ]
    read += getattr(options, "files", [])
    sources = {os.path.realpath(path) for path in read if path and "\0" not in path}
    for path in written:
        if os.path.realpath(path) in sources:
            raise OutputError(
                path,
                "this file is read by the same command; nothing was written",
                "give the result another name",
            )


def write_out(options: argparse.Namespace, env: Env, files: Mapping[str, str | bytes]) -> list[str]:
    """Write into the folder that ``--out`` names, and say what was written.

    Parameters
    ----------
    options : argparse.Namespace
    env : Env
    files : Mapping of str to str or bytes
        Content by plain name; every name is one that was announced, so that `check_outputs` has
        looked for it.

    Returns
    -------
    list of str
        Paths written.
    """
    about = {about_name(name): _about(name) for name in files if _is_csv(name)}
    files = {**files, **about}
    unannounced = files.keys() - set(announced(options))
    if unannounced:
        raise ValueError(f"not announced: {sorted(unannounced)}")
    from winchsim.report.writing import write_folder

    paths = write_folder(options.out, files, force=options.force)
    for path in paths:
        env.note(f"wrote {path}")
    return paths
