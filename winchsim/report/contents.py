"""What every form of a lift's report is written from."""

from __future__ import annotations

from dataclasses import dataclass

from winchsim.report.figures.catalogue import Picture
from winchsim.scenario.read import Scenario
from winchsim.simulation import Record
from winchsim.verdict.finding import Verdict
from winchsim.verdict.snag import SnagStudy


@dataclass(frozen=True)
class Report:
    """Everything that a report of one lift is written from.

    Attributes
    ----------
    scenario : Scenario
    overrides : tuple of str
        ``path=value`` texts that changed it.
    record : Record
    verdict : Verdict
    pictures : tuple of Picture
    us : bool
        Whether US units are written too.
    snag : SnagStudy or None
        What a simulated snag does, where that was asked for.
    """

    scenario: Scenario
    overrides: tuple[str, ...]
    record: Record
    verdict: Verdict
    pictures: tuple[Picture, ...]
    us: bool = False
    snag: SnagStudy | None = None

    @property
    def title(self) -> str:
        """Title of the scenario, or the name of its file."""
        return self.record.machine.title or self.scenario.name

    @property
    def stamp(self) -> tuple[str, str]:
        """One word for the style of the verdict (``good``, ``bad`` or ``open``), and what it says in words."""
        v = self.verdict
        if not v.trusted:
            return "open", "No result to trust"
        if v.passes:
            return "good", "As asked, nothing dangerous found"
        return "bad", "Danger found" if v.as_asked else "Not as asked" if v.safe else "Not as asked, danger found"

    @property
    def command(self) -> str:
        """Command line that repeats it."""
        options = [f"--set {_quoted(o)}" for o in self.overrides] + (["--snag"] if self.snag is not None else [])
        return " ".join(["winchsim lift", _quoted(self.scenario.name), *options])


def _quoted(text: str) -> str:
    plain = all(c.isalnum() or c in "-_./=" for c in text)
    return text if plain and text else "'" + text.replace("'", "'\\''") + "'"
