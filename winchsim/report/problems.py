"""What was wrong with an input, as text: file, line, key, what was read, what was expected."""

import itertools
import textwrap
from collections.abc import Sequence

from winchsim.errors import Code, Fault, InputError, OutputError, TrustError, WinchsimError
from winchsim.report.render.options import painted


def error_text(error: WinchsimError, colour: bool = False, width: int = 100) -> str:
    """Any error that winchsim raises on purpose, as text for a person.

    Parameters
    ----------
    error : WinchsimError
        What was raised.
    colour : bool
        Whether what is wrong is coloured.
    width : int
        Columns. [-]

    Returns
    -------
    str
        Lines with a line end; no control character of the input survives in it.
    """
    head, hint = str(error), ""
    match error:
        case InputError(faults=faults):
            return faults_text(faults, colour, width)
        case OutputError():
            head, hint = f"{error.path}: {error.reason}", error.hint
        case TrustError():
            head, hint = error.reason, error.help
    lines = [painted("bad", clean(head), colour), *_labelled("try", hint, width)]
    return "\n".join(lines) + "\n"


def faults_text(faults: Sequence[Fault], colour: bool = False, width: int = 100) -> str:
    """Faults of one input as one list, under the name of each file."""
    lines: list[str] = []
    for place, group in itertools.groupby(faults, lambda fault: fault.file):
        found = list(group)
        count = f"{len(found)} problem{'s' * (len(found) > 1)}"
        lines += [f"{clean(place)}: {count}. Nothing was run."] * bool(place)
        for number, fault in enumerate(found, start=1):
            lines += _entry(fault, f"{number}. " if place else "", colour, width)
    return "\n".join(lines) + "\n"


def clean(text: str) -> str:
    """Text for a terminal: without control characters, so that a file cannot steer it, on one line.

    For a page, a figure or a file it is `plain_text.harmless`: joiners and odd spaces, which
    scripts need, are written as their code here, since terminals differ in the room that they give
    them.
    """
    return "".join(
        c if c.isprintable() else " " if c in "\t\n" else f"\\x{ord(c):02x}" for c in text
    )


def _entry(fault: Fault, number: str, colour: bool, width: int) -> list[str]:
    """Lines of one fault: place and message, what was read, what was expected, what to try."""
    line = "" if fault.line is None else f"line {fault.line}"
    place = ", ".join(clean(part) for part in (line, fault.key) if part)
    head = number + (f"{place}: " if place else "") + clean(fault.message)
    wrapped = textwrap.wrap(head, width, subsequent_indent="   ", break_on_hyphens=False)
    stands = clean(fault.line_text).strip() if fault.code != Code.MISSING else ""
    read = fault.got if " = " in fault.got or not stands else stands
    return [
        *(painted("bad", line, colour) for line in wrapped),
        *_labelled("read", "" if read in fault.message else read, width),
        *_labelled("expected", fault.expected, width),
        *_labelled("try", fault.hint, width),
    ]


def _labelled(label: str, text: str, width: int) -> list[str]:
    return textwrap.wrap(
        clean(text),
        width,
        initial_indent=f"   {label}: ",
        subsequent_indent="      ",
        break_on_hyphens=False,
    )
