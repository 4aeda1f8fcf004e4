"""A figure as the bytes of a file: the same bytes each time, with version and scenario in its
metadata."""

import html
import io
import re

from matplotlib.figure import Figure

from winchsim.report.figures.look import Look, drawing
from winchsim.version import __version__

FORMATS = ("png", "svg", "pdf")
DPI = 200

TYPEFACES = b"'DejaVu Sans', Verdana, sans-serif"
"""What an SVG asks its reader's machine for: the typeface that it was laid out in, one as wide, or
any."""


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
