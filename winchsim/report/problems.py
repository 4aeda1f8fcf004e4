"""What was wrong with an input, as text: each place with its line, a mark under it, and what to write instead."""

from __future__ import annotations

import textwrap
import unicodedata
from collections.abc import Sequence

from winchsim.errors import Fault, InputError, OutputError, TrustError, WinchsimError
from winchsim.report.paint import Paint

WIDTH = 100
"""Columns that all text keeps to."""

_PLAIN = Paint()


def error_text(error: WinchsimError, paint: Paint = _PLAIN) -> str:
    """Any error that winchsim raises on purpose, as text for a person.

    Parameters
    ----------
    error : WinchsimError
        What was raised.
    paint : Paint
        Colours, off by default.

    Returns
    -------
    str
        Lines with a line end; no control character of the input survives in it.
    """
    if isinstance(error, InputError):
        return faults_text(error.faults, paint)
    head, hint = str(error), ""
    if isinstance(error, OutputError):
        head, hint = f"{error.path}: {error.reason}", error.hint
    elif isinstance(error, TrustError):
        head, hint = error.reason, error.help
    lines = [paint.bad(clean(head)) + f" [{error.code}]"]
    return "\n".join(lines + _labelled("try", hint)) + "\n"


def faults_text(faults: Sequence[Fault], paint: Paint = _PLAIN) -> str:
    """Faults of one input, one block each, and the number of those in files."""
    blocks = [_block(fault, paint) for fault in faults]
    files = {fault.file for fault in faults if fault.file}
    real = len(files - {"--set"})
    if files:
        count = f"{len(faults)} problem{'s' if len(faults) > 1 else ''}"
        where = f" in {real} file{'s' if real > 1 else ''}" if real else ""
        blocks.append(f"{count}{where}; nothing was run.")
    return "\n".join(blocks) + "\n"


def clean(text: str) -> str:
    """Text for a terminal: without control characters, so that a file cannot steer it, on one line.

    For a page, a figure or a file it is `plain_text.harmless`: joiners and odd spaces, which scripts need, are told by
    their code here, since terminals differ in the room that they give them.
    """
    return "".join(c if c.isprintable() else " " if c in "\t\n" else f"\\x{ord(c):02x}" for c in text)


def _block(fault: Fault, paint: Paint) -> str:
    place = fault.file + (f":{fault.line}" if fault.line is not None else "")
    head = ": ".join(clean(part) for part in (place, fault.key, fault.message) if part)
    wrapped = textwrap.wrap(head, WIDTH - len(fault.code) - 3, subsequent_indent="  ", break_on_hyphens=False)
    lines = [paint.bad(line) for line in wrapped]
    lines[-1] += f" [{fault.code}]"
    marked = _marked_line(fault, paint)
    lines += marked
    if fault.got and len(marked) < 2 and fault.got not in fault.message:
        lines += _labelled("got", fault.got)
    elif "=" in fault.got:
        lines += _labelled("read", fault.got)
    lines += _labelled("expected", fault.expected)
    lines += _labelled("try", fault.hint)
    return "\n".join(lines)


def _labelled(label: str, text: str) -> list[str]:
    if not text:
        return []
    first = f"   {label}: "
    return textwrap.wrap(clean(text), WIDTH, initial_indent=first, subsequent_indent="      ", break_on_hyphens=False)


def _marked_line(fault: Fault, paint: Paint) -> list[str]:
    """The line as it stands in the file, and marks under what is wrong where that can be told."""
    if not fault.line_text.strip():
        return []
    number = "" if fault.line is None else str(fault.line)
    margin = f"{number:>5} | "
    text = clean(fault.line_text)
    room = WIDTH - len(margin)
    lines = [margin + (text if len(text) <= room else text[: room - 3] + "...")]
    start, length = _found(fault, text)
    if length and start + length <= room - 3:
        before = _width(text[:start])
        lines.append("      | " + " " * before + paint.bad("^" * _width(text[start : start + length])))
    return lines


def _found(fault: Fault, text: str) -> tuple[int, int]:
    """Where in a line the thing that is wrong stands, and how long it is; length 0 when it cannot be told."""
    got = clean(fault.got).partition(" = ")[0]
    is_key = got == clean(fault.key).rpartition(".")[2] or got == fault.key
    after = 0 if is_key else text.find("=") + 1
    for wanted in (got, got.strip('"')):
        start = text.find(wanted, after)
        if wanted and start >= 0:
            return start, len(wanted)
    return 0, 0


def _width(text: str) -> int:
    """Columns that text takes on a terminal."""
    return sum(2 if unicodedata.east_asian_width(c) in "WF" else 0 if unicodedata.combining(c) else 1 for c in text)
