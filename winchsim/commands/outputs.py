"""Where results go: what would be refused after the work is refused before it."""

import argparse
import os
import shlex
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import Any

from winchsim.commands.env import Env
from winchsim.errors import OutputError
from winchsim.report import json_text
from winchsim.report.document import Document
from winchsim.report.render.text import render_text
from winchsim.report.writing import check_file, check_folder, write_file, write_folder

STDOUT = "-"
"""Name of a file that means standard output."""

READ = ("file", "tests", "measured", "parts")
"""Options that name a file to read; `files` names several."""


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


def _about(path: str, options: argparse.Namespace, about: Mapping[str, Any]) -> str:
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
    files: Mapping[str, str | bytes], options: argparse.Namespace, about: Mapping[str, Any]
) -> dict[str, str | bytes]:
    """Files with what goes beside each CSV."""
    tables = filter(_beside, files)
    return {**files, **{_beside(name): _about(name, options, about) for name in tables}}


def write_csv(options: argparse.Namespace, env: Env, text: str, **about: Any) -> None:
    """Write the table that ``--csv`` names with its cautions beside it; ``-`` is standard output.

    Parameters
    ----------
    options : argparse.Namespace
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


def present(
    options: argparse.Namespace, env: Env, document: Document, json: Callable[[], str]
) -> None:
    """Print the result: its JSON where that is asked for, else the document as text."""
    rendering = env.rendering(us=options.units == "us", full=getattr(options, "full", True))
    env.out(json() if options.json else render_text(document, rendering))


def again(options: argparse.Namespace) -> str:
    """The same command line with all details, without the files that it writes."""
    words = (word for word in options.words if word not in ("--force", "--full", "--json"))
    kept = [word for word in words if not (word in ("--out", "--csv") and next(words))]
    return shlex.join(["winchsim", *kept, "--full"])


def _refuse_mixtures(options: argparse.Namespace, written: Iterable[str]) -> None:
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
    options: argparse.Namespace, env: Env, files: Mapping[str, str | bytes], **about: Any
) -> list[str]:
    """Write into the folder that ``--out`` names, and say what was written.

    Parameters
    ----------
    options : argparse.Namespace
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
    options: argparse.Namespace,
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
    options : argparse.Namespace
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
