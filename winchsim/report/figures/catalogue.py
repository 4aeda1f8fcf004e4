"""Every figure of one lift in the order of a report, drawn; and a figure as the bytes of a file:
the same bytes each time, with version and scenario in its metadata."""

import html
import io
import re
from collections.abc import Collection
from pkgutil import resolve_name
from typing import Any

from winchsim.errors import refuse_if
from winchsim.report.document import FigureRef
from winchsim.report.figures.look import (
    COLUMN,
    Figure,
    Look,
    drawing,
)
from winchsim.report.names import NAMES, OF_A_LIFT
from winchsim.simulation import Record
from winchsim.version import __version__

DPI = 200

TYPEFACES = b"'DejaVu Sans', Verdana, sans-serif"
"""What an SVG asks its reader's machine for: the typeface that it was laid out in, one as wide, or
any."""

Picture = tuple[FigureRef, Figure]
"""One figure, drawn, with its name and what is said of it."""


def figure(record: Record, name: str, look: Look = COLUMN) -> Figure | None:
    """One figure of a record, to be shown or changed with matplotlib.

    Parameters
    ----------
    record : Record
    name : str
        One of `winchsim.report.names.NAMES`, such as ``energy``.
    look : Look
        Its size and units.

    Returns
    -------
    Figure or None
        None where there is nothing to draw, such as teeth of a winch without gears.
    """
    drawn_by = {words.name: words.drawn_by for words in OF_A_LIFT}
    refuse_if(name not in drawn_by, "name", name, f"one of {', '.join(drawn_by)}")
    return draw(drawn_by[name], record, look)


def draw(drawn_by: str, shown: Any, look: Look) -> Any:
    """A figure by its `FigureRef.drawn_by`, of a record or of the result of a study; None where
    there is nothing to draw."""
    return resolve_name(f"winchsim.report.figures.{drawn_by}")(shown, look)


def pictures(record: Record, look: Look, names: Collection[str] = NAMES) -> list[Picture]:
    """The figures of a record that there is something to draw for.

    Parameters
    ----------
    record : Record
    look : Look
    names : collection of str
        Of the figures that are wanted; left out, all.
    """
    drawn = ((each, figure(record, each.name, look)) for each in OF_A_LIFT if each.name in names)
    return [(each, found) for each, found in drawn if found is not None]


def image(figure: Figure, form: str, look: Look, digest: str = "", dpi: int = DPI) -> bytes:
    """A figure as a file of a format.

    Parameters
    ----------
    figure : Figure
    form : str
        ``png``, ``svg`` (text kept as text) or ``pdf`` (typeface embedded).
    look : Look
        The one that it was drawn in.
    digest : str
        SHA-256 of its scenario, for the metadata.
    dpi : int
        Dots per inch of a PNG. [-]

    Returns
    -------
    bytes
        No date and no random id inside: equal for equal figures with the same package versions.
    """
    maker = f"winchsim {__version__}"
    about = f"scenario {digest}" if digest else "several scenarios"
    metadata = {
        "svg": {"Date": None, "Creator": maker, "Description": about},
        "png": {"Software": maker, "Description": about},
        "pdf": {
            "CreationDate": None,
            "ModDate": None,
            "Creator": maker,
            "Producer": "matplotlib",
            "Subject": about,
        },
    }[form]
    stream = io.BytesIO()
    with drawing(look):
        figure.savefig(stream, format=form, dpi=dpi if form == "png" else 72, metadata=metadata)
    data = stream.getvalue()
    return data.replace(b"'DejaVu Sans'", TYPEFACES) if form == "svg" else data


def inline_svg(figure: Figure, look: Look, name: str, alt: str) -> str:
    """A figure as an element of an HTML page: no outside names, no ids that two figures could
    share.

    Parameters
    ----------
    figure : Figure
    look : Look
        The one that it was drawn in.
    name : str
        Of letters, digits and hyphens, different for each figure of a page.
    alt : str
        What the figure shows, for those who cannot see it.
    """
    text = image(figure, "svg", look).decode()
    text = re.sub(r"<metadata>.*?</metadata>|<style.*?</style>", "", text, flags=re.DOTALL)
    _, box, inner = re.split(r'<svg[^>]*(viewBox="[^"]*")[^>]*>', text, maxsplit=1)
    used = set(re.findall(r'(?:url\(#|href="#)([\w-]+)', inner))
    inner = re.sub(
        r' id="([^"]*)"', lambda m: f' id="{name}-{m[1]}"' if m[1] in used else "", inner
    )
    inner = re.sub(r'(?:xlink:(href="#)|(url\(#))(?=[\w-])', rf"\1\2{name}-", inner)
    return f'<svg class="figure" {box} role="img" aria-label="{html.escape(alt)}">{inner}'.strip()
