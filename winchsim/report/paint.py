"""Colour of text on a terminal: decided once, and never the only sign of anything."""

from collections.abc import Mapping

from winchsim.frozen import dataclass

_CODES = {"bad": "1;31", "warn": "33", "open": "33", "good": "32", "strong": "1", "faint": "2"}
"""Control codes by tone."""


@dataclass(frozen=True)
class Paint:
    """Puts control codes around text when colour is on, and leaves it alone when off."""

    on: bool = False

    def __call__(self, tone: str, text: str) -> str:
        """Text in one of the tones of a mark, or ``strong`` or ``faint``."""
        return f"\033[{_CODES[tone]}m{text}\033[0m" if self.on and text else text


def use_colour(choice: str, environ: Mapping[str, str], is_terminal: bool) -> bool:
    """Whether to colour: the option decides, then NO_COLOR, FORCE_COLOR, a dumb terminal, whether
    it is a terminal.

    Parameters
    ----------
    choice : str
        ``always``, ``never`` or ``auto``.
    environ : Mapping of str to str
        Environment variables.
    is_terminal : bool
        Whether the stream is a terminal.

    Returns
    -------
    bool
    """
    if choice != "auto":
        return choice == "always"
    if environ.get("NO_COLOR") or environ.get("FORCE_COLOR"):
        return not environ.get("NO_COLOR")
    return is_terminal and environ.get("TERM") != "dumb"
