"""State of one tab: the present build, undo and redo, variants; and the work file beside the
scenario."""

import contextlib
import json
import os
import time
from dataclasses import field
from typing import Any

from winchsim.errors import OutputError, WinchsimError
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs, walk
from winchsim.report.writing import write_file
from winchsim.scenario.change import from_values, to_values
from winchsim.scenario.read import Scenario

MOST_STEPS = 200
"""Changes that can be undone. [-]"""

MOST_VARIANTS = 30
"""Variants of one tab. [-]"""

MOST_TABS = 8
"""Tabs whose work is kept. [-]"""

MOST_CHARACTERS = 20_000_000
"""Of a work file that is read. [-]"""

SAME_CHANGE = 1.0
"""Changes of one value that follow each other faster are one step of undo. [s]"""

MOST_NAMED = 8
"""Changed keys that are named. [-]"""

FORMAT = 1
"""Number of the format of the work file."""


def with_text(inputs: Inputs, path: str, text: str) -> Inputs:
    """Scenario with one value changed by its text, read and checked as ``--set PATH=TEXT`` is.

    Raises
    ------
    InputError
        With every fault found.
    """
    return from_values(to_values(inputs), [f"{path}={text}"])


def moved(inputs: Inputs, table: str, index: int, by: int) -> Inputs:
    """Scenario with one entry of a list of tables moved; `index` from 0."""
    values = to_values(inputs)
    rows = values[table]
    rows.insert(index + by, rows.pop(index))
    return from_values(values)


def changes(base: Inputs, inputs: Inputs) -> list[tuple[str, Any]]:
    """Single values in which a build differs from another one: path and value, None where it is
    left out."""
    here, there = (
        {path: value for path, value, _ in walk(build) if path in build.given}
        for build in (inputs, base)
    )
    return [
        (path, here.get(path)) for path in {**there, **here} if here.get(path) != there.get(path)
    ]


def changed_keys(base: Inputs, inputs: Inputs) -> str:
    """Names of the values in which a build differs from another one, as far as there is room."""
    names = [path for path, _ in changes(base, inputs)]
    more = len(names) - MOST_NAMED
    return ", ".join(names[:MOST_NAMED]) + f" and {more} more" * (more > 0)


@dataclass
class Variant:
    """A build that is kept under a name, with its key numbers as `winchsim.page.answer.numbers`
    gives them."""

    name: str
    inputs: Inputs
    numbers: dict[str, Any] = field(default_factory=dict)


class State:
    """What one tab works on.

    Parameters
    ----------
    scenario : Scenario
        As read from the file.
    """

    def __init__(self, scenario: Scenario) -> None:
        self.scenario = scenario
        self.base = scenario.inputs
        self.inputs = scenario.inputs
        self.variants: list[Variant] = []
        self.done: list[Inputs] = []
        self.undone: list[Inputs] = []
        self._last = ("", 0.0)

    def put(self, inputs: Inputs, what: str = "") -> None:
        """Make a build the present one; changes of the same `what` in quick succession are one
        step."""
        if inputs == self.inputs:
            return
        now = time.monotonic()
        is_same = bool(what) and what == self._last[0] and now - self._last[1] < SAME_CHANGE
        if not is_same:
            self.done.append(self.inputs)
            del self.done[:-MOST_STEPS]
        self.undone.clear()
        self._last = (what, now)
        self.inputs = inputs

    def step(self, *, back: bool) -> None:
        """Take the last change back, or make it again."""
        source, to = (self.done, self.undone) if back else (self.undone, self.done)
        if source:
            to.append(self.inputs)
            self.inputs = source.pop()
            self._last = ("", 0.0)

    def keep(self, name: str, numbers: dict[str, Any], inputs: Inputs | None = None) -> str:
        """Keep the present build, or another one, under a name; one of the same name is replaced.
        Returns what prevents it."""
        name = " ".join(name.split())[:60]
        others = [variant for variant in self.variants if variant.name != name]
        if not name or len(others) >= MOST_VARIANTS:
            return f"A variant needs a name, and at most {MOST_VARIANTS} are kept."
        self.variants = [*others, Variant(name, inputs or self.inputs, numbers)]
        return ""

    def dump(self) -> dict[str, Any]:
        """State as plain values for the work file."""
        kept = [
            {"name": v.name, "values": to_values(v.inputs), "numbers": v.numbers}
            for v in self.variants
        ]
        return {"values": to_values(self.inputs), "variants": kept}

    def restore(self, dumped: Any) -> bool:
        """Take over a state that `dump` gave; False where there is none, or it is damaged."""
        try:
            variants = [
                Variant(str(row["name"])[:60], from_values(row["values"]), dict(row["numbers"]))
                for row in dumped["variants"][:MOST_VARIANTS]
            ]
            self.put(from_values(dumped["values"]))
        except (WinchsimError, KeyError, TypeError, AttributeError, ValueError):
            return False
        self.variants = variants
        return True


class WorkFile:
    """``NAME.work.json`` beside the scenario: the state of each tab by the tab's key, the latest
    last.

    Parameters
    ----------
    scenario_path : str
    """

    def __init__(self, scenario_path: str) -> None:
        self.path = os.path.splitext(scenario_path)[0] + ".work.json"
        self.trouble = ""
        self._tabs: dict[str, dict[str, Any]] = {}
        try:
            with open(self.path, encoding="utf-8") as file:
                read = json.loads(file.read(MOST_CHARACTERS))
            if read["format"] != FORMAT:
                raise ValueError(f"its format is {read['format']}")
            self._tabs = {str(key): dict(tab) for key, tab in read["tabs"].items()}
        except FileNotFoundError:
            pass
        except (OSError, ValueError, KeyError, TypeError, AttributeError) as error:
            self.trouble = (
                f"{os.path.basename(self.path)} cannot be read and is left as it is: {error}"
            )

    def of_tab(self, key: str) -> dict[str, Any] | None:
        """State that a tab had."""
        return self._tabs.get(key, {}).get("state")

    def latest(self) -> tuple[str, dict[str, Any]] | None:
        """When the latest work was kept, in local time, and its state."""
        tab = next(reversed(self._tabs.values()), None)
        return None if tab is None else (str(tab["when"]), tab["state"])

    def keep(self, key: str, state: State) -> None:
        """Keep the state of a tab on disk. A file that could not be read is not replaced."""
        self._tabs.pop(key, None)
        if state.inputs != state.base or state.variants:
            when = time.strftime("%Y-%m-%d %H:%M")
            self._tabs[key] = {"when": when, "state": state.dump()}
        for old in list(self._tabs)[:-MOST_TABS]:
            del self._tabs[old]
        if self.trouble or not (self._tabs or os.path.exists(self.path)):
            return
        text = json.dumps({"format": FORMAT, "tabs": self._tabs}, ensure_ascii=False)
        with contextlib.suppress(OutputError):
            write_file(self.path, text, force=True)
