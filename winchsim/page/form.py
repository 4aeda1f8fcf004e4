"""The form: one part of the path of power at a time, its controls made from the declarations of the
inputs."""

import math
import re
from typing import Any

from nicegui import ui

from winchsim.inputs import GROUPS, Inputs, specs, value_at
from winchsim.page.row import Control, KeyRow, controls
from winchsim.page.state import moved
from winchsim.scenario.change import to_values, with_table, without_table

MOST_FOUND = 40
"""Keys that a search shows. [-]"""

TONES = {"ok": "good", "thin": "warn", "fails": "bad", "not checked": "open"}
"""Style of each status."""

_GROUP_OF = {key: spec.group for key, spec in specs(Inputs).items()}


def facts(inputs: Inputs) -> dict[str, str]:
    """A few words for each part of the path of power, by its group."""
    ratio = math.prod(stage.speed_ratio() ** stage.repeat for stage in inputs.stage)
    limit = inputs.supply.current_limit
    found = {
        "supply": f"{inputs.supply.voltage:g} V" + ("" if limit is None else f", {limit:g} A"),
        "motors": f"{sum(group.count - group.dead for group in inputs.motors)}",
        "stage": f"{ratio:.3g} : 1",
        "drum": f"{1e3 * inputs.drum.diameter:.3g} mm",
        "rope": f"{1e3 * inputs.rope.diameter:.3g} mm",
        "load": f"{inputs.load.mass:.3g} kg, {inputs.load.height:.3g} m",
    }
    return {_GROUP_OF[key]: text for key, text in found.items()}


def addable(node: Any, prefix: str = "") -> list[str]:
    """Paths of tables that could be added to a scenario or one of its tables."""
    found: list[str] = []
    for key, spec in specs(type(node)).items():
        value, path = getattr(node, key), f"{prefix}{key}"
        inner = {path: value} if spec.kind == "table" and value is not None else {}
        if spec.kind == "tables":
            inner = {f"{path}.{number}": row for number, row in enumerate(value, start=1)}
        if spec.kind == "tables" or (spec.kind == "table" and value is None):
            found.append(path)
        for where, table in inner.items():
            found += addable(table, f"{where}.")
    return found


def removable(inputs: Inputs, table: str) -> bool:
    """Whether a table may be taken away as far as its kind says."""
    head, _, key = table.rpartition(".")
    above = head.rpartition(".")[0] if key.isdecimal() else head
    owner = value_at(inputs, above) if above else inputs
    if not key.isdecimal():
        return not specs(type(owner))[key].required and key not in ("factors", "settings")
    name = head.rpartition(".")[2]
    return len(getattr(owner, name)) > 1 or not specs(type(owner))[name].required


class Form:
    """The path of power as buttons, and the controls of the part that is chosen."""

    def __init__(self, tab: Any) -> None:
        self.tab, self.group = tab, _GROUP_OF["load"]
        self.assumed: dict[str, str] = {}  # from the newest answer, by path
        self.status: dict[str, str] = {}  # the same, by table
        self._rows: dict[str, KeyRow] = {}
        self._structure: Any = None
        self._parts: dict[str, Any] = {}
        with ui.element("section").classes("form").props('aria-label="Build"'):
            path = ui.element("div").classes("path").props("role=group")
            path.props('aria-label="Parts along the way of the power"')
            for group in GROUPS:
                with path, ui.button(on_click=lambda g=group: self.choose(g)) as part:
                    part.props("flat no-caps").classes("part")
                    self._parts[group] = ui.html("", sanitize=False), part
            self._search = ui.input("Search for a key", on_change=self.fill).classes("search")
            self._search.props("dense outlined clearable debounce=200")
            self._all = ui.switch("Show all keys", on_change=self.fill)
            self._box = ui.element("div").classes("keys").props("tabindex=-1")
        self.fill()

    def choose(self, group: str) -> None:
        """Show the controls of a part."""
        self.group = group
        self._search.set_value("")
        self.fill()
        self._show_parts()

    def refresh(self) -> None:
        """Bring the controls to the present build; only other tables build them anew."""
        found = controls(self.tab.state.inputs)
        if self._structure_of(found) != self._structure:
            self.fill()
        for control in found:
            if control.path in self._rows:
                self._rows[control.path].sync(control)
        self._show_parts()

    def _structure_of(self, found: tuple[Control, ...]) -> frozenset[str]:
        return frozenset(c.path.rpartition(".")[0] for c in found if c.group == self.group)

    def _show_parts(self) -> None:
        about = facts(self.tab.state.inputs)
        status = {_GROUP_OF[key]: word for key, word in self.status.items() if key in _GROUP_OF}
        for group, (html, button) in self._parts.items():
            word = status.get(group, "")
            sign = f'<i class="mark brief {TONES[word]}" title="{word}">{word}</i>' if word else ""
            html.set_content(f"<b>{group}</b>{sign}<small>{about.get(group, '')}</small>")
            button.props(f"aria-pressed={'true' if group == self.group else 'false'}")

    def fill(self) -> None:
        """Build the controls of the chosen part, or of the keys that are searched for."""
        inputs, everything = self.tab.state.inputs, controls(self.tab.state.inputs)
        words = (self._search.value or "").lower().split()
        self._structure = self._structure_of(everything)
        self._rows.clear()
        self._box.clear()
        found = [c for c in everything if (_has(c, words) if words else c.group == self.group)]
        tables: dict[str, list[Control]] = {}
        for control in found[: MOST_FOUND if words else None]:
            tables.setdefault(control.path.rpartition(".")[0], []).append(control)
        with self._box:
            for table, rows in tables.items():
                self._table(inputs, table, rows, bool(words) or self._all.value)
            if words:
                more = f"{len(found) - MOST_FOUND} more; give another word."
                ui.label(more if len(found) > MOST_FOUND else "" if found else "No such key.")
                return
            with ui.element("div").classes("adding"):
                for path in addable(inputs):
                    if _GROUP_OF[path.partition(".")[0]] == self.group:
                        self._button(
                            "add",
                            f"Add {path}",
                            lambda p=path: with_table(self.tab.state.inputs, p),
                            _name(path),
                        )

    def _table(self, inputs: Inputs, table: str, rows: list[Control], with_all: bool) -> None:
        with ui.element("fieldset").classes("table"):
            with ui.element("legend"):
                ui.label(_name(table) or "scenario")
            with ui.element("div").classes("buttons"):
                self._buttons(inputs, table)
            for control in rows:
                if with_all or control.given:
                    self._rows[control.path] = KeyRow(self, control)

    def _buttons(self, inputs: Inputs, table: str) -> None:
        """Buttons that move, copy and remove a table."""
        key, _, number = table.partition(".")
        if number.isdecimal():
            at, rows = int(number) - 1, to_values(inputs)[key]
            for icon, by, words in (
                ("arrow_upward", -1, "earlier"),
                ("arrow_downward", 1, "later"),
            ):
                if 0 <= at + by < len(rows):
                    label = f"Move {table} {words}"
                    self._button(icon, label, lambda b=by: moved(self.tab.state.inputs, key, at, b))
            label = f"Copy {table}"
            self._button(
                "content_copy", label, lambda: with_table(self.tab.state.inputs, key, rows[at])
            )
        if table and removable(inputs, table):
            label = f"Remove {table}"
            self._button("delete", label, lambda: without_table(self.tab.state.inputs, table))

    def _button(self, icon: str, label: str, change: Any, text: str = "") -> None:
        button = ui.button(text, icon=icon, on_click=lambda: self._change(change))
        button.props(f"dense no-caps size=sm {'outline' if text else 'flat'}")
        button.props["aria-label"] = label

    def _change(self, change: Any) -> None:
        """Add, move or remove a table; the keyboard goes on at the first control."""
        if self.tab.tried(lambda: self.tab.take(change())):
            self.fill()
            self.tab.client.run_javascript(f"getHtmlElement({self._box.id}).focus()")


def _has(control: Control, words: list[str]) -> bool:
    """Whether all words stand in what is known about a key."""
    about = f"{control.path} {control.spec.label} {control.spec.meaning}".lower()
    return all(word in about for word in words)


def _name(path: str) -> str:
    return re.sub(r"[._]", " ", path)
