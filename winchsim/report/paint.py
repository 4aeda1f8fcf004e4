"""Colour of text on a terminal: decided once, and never the only sign of anything."""

from __future__ import annotations

from collections.abc import Mapping

from winchsim.frozen import dataclass


@dataclass(frozen=True)
class Paint:
    """Puts control codes around text when colour is on, and leaves it alone when off."""

    on: bool = False

    def bad(self, text: str) -> str:
        """Text about a danger or an error."""
        return self._wrap(text, "1;31")

    def warn(self, text: str) -> str:
        """Text about a caution."""
        return self._wrap(text, "33")

    def good(self, text: str) -> str:
        """Text about something in order."""
        return self._wrap(text, "32")

    def strong(self, text: str) -> str:
        """Text that stands out, such as a heading."""
        return self._wrap(text, "1")

    def faint(self, text: str) -> str:
        """Text of less weight."""
        return self._wrap(text, "2")

    def _wrap(self, text: str, code: str) -> str:
        return f"\033[{code}m{text}\033[0m" if self.on and text else text


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
    if environ.get("NO_COLOR"):
        return False
    if environ.get("FORCE_COLOR"):
        return True
    return is_terminal and environ.get("TERM") != "dumb"
