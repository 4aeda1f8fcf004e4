"""State of one tab: the present build, undo and redo, variants; and the work file beside the
scenario."""

from __future__ import annotations

import contextlib
import json
import os
import time
from dataclasses import field
from typing import Any

from winchsim.errors import Code, Fault, InputError, OutputError, WinchsimError
from winchsim.frozen import dataclass
from winchsim.inputs import Inputs
from winchsim.report.writing import write_file
from winchsim.scenario.change import from_values, to_values
from winchsim.scenario.faults import Collector
from winchsim.scenario.lines import LineIndex
from winchsim.scenario.overrides import apply_overrides
from winchsim.scenario.read import Scenario, inputs_of

MOST_STEPS = 200
"""Changes that can be undone. [-]"""

MOST_VARIANTS = 30
"""Variants of one tab. [-]"""

MOST_TABS = 8
"""Tabs whose work is kept. [-]"""

SAME_CHANGE = 1.0
"""Changes of one value that follow each other faster are one step of undo. [s]"""

FORMAT = 1
"""Number of the format of the work file."""


def with_text(inputs: Inputs, path: str, text: str) -> Inputs:
    """Scenario with one value changed by its text, read and checked as ``--set PATH=TEXT`` is.

    Raises
    ------
    InputError
        With every fault found.
    """
    values = to_values(inputs)
    origins, faults = apply_overrides(values, [f"{path}={text}"])
    collector = Collector("", LineIndex(), origins)
    collector.faults += faults
    return inputs_of(values, collector, in_si=True)


def moved(inputs: Inputs, table: str, index: int, by: int) -> Inputs:
    """Scenario with one entry of a list of tables moved; `index` from 0."""
    values = to_values(inputs)
    rows = values[table]
    if 0 <= index + by < len(rows):
        rows.insert(index + by, rows.pop(index))
    return from_values(values)


def changes(base: Inputs, inputs: Inputs) -> list[tuple[str, Any]]:
    """Single values in which a build differs from another one: path and value, None where it is
    left out."""
    here, there = dict(_leaves(to_values(inputs))), dict(_leaves(to_values(base)))
    return [
        (path, here.get(path)) for path in {**there, **here} if here.get(path) != there.get(path)
    ]


def _leaves(node: Any, path: str = "") -> Any:
    pairs = enumerate(node, start=1) if isinstance(node, list) else node.items()
    for key, value in pairs:
        if isinstance(value, (dict, list)):
            yield from _leaves(value, f"{path}{key}.")
        else:
            yield f"{path}{key}", value


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
        self._undo: list[Inputs] = []
        self._redo: list[Inputs] = []
        self._last = ("", 0.0)

    @property
    def can_undo(self) -> bool:
        """Whether there is a step to take back."""
        return bool(self._undo)

    @property
    def can_redo(self) -> bool:
        """Whether a step was taken back."""
        return bool(self._redo)

    @property
    def is_changed(self) -> bool:
        """Whether there is work that the file does not hold."""
        return self.inputs != self.base or bool(self.variants)

    def put(self, inputs: Inputs, what: str = "") -> None:
        """Make a build the present one; changes of the same `what` in quick succession are one
        step."""
        if inputs == self.inputs:
            return
        now = time.monotonic()
        is_same = bool(what) and what == self._last[0] and now - self._last[1] < SAME_CHANGE
        if not is_same:
            self._undo.append(self.inputs)
            del self._undo[:-MOST_STEPS]
        self._redo.clear()
        self._last = (what, now)
        self.inputs = inputs

    def undo(self) -> None:
        """Take the last step back."""
        if self._undo:
            self._redo.append(self.inputs)
            self.inputs = self._undo.pop()
            self._last = ("", 0.0)

    def redo(self) -> None:
        """Take the step again."""
        if self._redo:
            self._undo.append(self.inputs)
            self.inputs = self._redo.pop()

    def keep(self, name: str, numbers: dict[str, Any]) -> Variant:
        """Keep the present build under a name; one of the same name is replaced.

        Raises
        ------
        InputError
            The name is empty, or there are too many variants.
        """
        name = " ".join(name.split())[:60]
        self.variants = [variant for variant in self.variants if variant.name != name]
        if not name or len(self.variants) >= MOST_VARIANTS:
            expected = "a name" if not name else f"at most {MOST_VARIANTS} variants"
            raise InputError(
                (Fault("cannot be kept", "variant", expected=expected, code=Code.TOO_MUCH),)
            )
        self.variants.append(Variant(name, self.inputs, numbers))
        return self.variants[-1]

    def dump(self) -> dict[str, Any]:
        """State as plain values for the work file."""
        kept = [
            {"name": v.name, "values": to_values(v.inputs), "numbers": v.numbers}
            for v in self.variants
        ]
        return {"values": to_values(self.inputs), "variants": kept}

    def load(self, dumped: dict[str, Any]) -> None:
        """Take over a state that `dump` gave.

        Raises
        ------
        WinchsimError
            Its values are none of a scenario.
        """
        variants = [
            Variant(str(row["name"])[:60], from_values(row["values"]), dict(row["numbers"]))
            for row in dumped["variants"][:MOST_VARIANTS]
        ]
        self.put(from_values(dumped["values"]))
        self.variants = variants


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
                read = json.load(file)
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
        found = self._tabs.get(key)
        return None if found is None else found["state"]

    def latest(self) -> tuple[str, dict[str, Any]] | None:
        """When the latest work was kept, in local time, and its state."""
        if not self._tabs:
            return None
        tab = list(self._tabs.values())[-1]
        return str(tab["when"]), tab["state"]

    def keep(self, key: str, state: State) -> None:
        """Keep the state of a tab on disk. A file that could not be read is not replaced."""
        self._tabs.pop(key, None)
        if state.is_changed:
            when = time.strftime("%Y-%m-%d %H:%M")
            self._tabs[key] = {"when": when, "state": state.dump()}
        for old in list(self._tabs)[:-MOST_TABS]:
            del self._tabs[old]
        if self.trouble or not (self._tabs or os.path.exists(self.path)):
            return
        text = json.dumps({"format": FORMAT, "tabs": self._tabs}, ensure_ascii=False)
        with contextlib.suppress(OutputError):
            write_file(self.path, text, force=True)


def restored(state: State, dumped: dict[str, Any] | None) -> bool:
    """Whether a state from the work file could be taken over."""
    if dumped is None:
        return False
    try:
        state.load(dumped)
    except (WinchsimError, KeyError, TypeError, AttributeError):
        return False
    return True
