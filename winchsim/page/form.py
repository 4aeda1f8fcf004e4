"""The form: one part of the path of power at a time, its controls made from the declarations of the
inputs."""

from __future__ import annotations

import dataclasses
import re
from typing import Any

from nicegui import ui

from winchsim.errors import InputError
from winchsim.inputs import GROUPS, Control, Inputs, Spec, controls, is_required, specs, value_at
from winchsim.page.facts import SIGNS, group_facts
from winchsim.page.state import moved, with_text
from winchsim.quantity_text import in_unit
from winchsim.report.plain_text import harmless
from winchsim.report.words.values import MARKS
from winchsim.scenario.change import to_values, with_table, with_value, without_table

MOST_FOUND = 40
"""Keys that a search shows. [-]"""

LEFT_OUT = "(left out)"
"""Choice that takes a given value back."""

LISTS = ("motors", "stage", "phase", "sheave", "edge", "tolerance", "material")
"""Lists of tables whose entries have an order."""


def fault_text(error: InputError) -> str:
    """What is wrong, in the words of the command line, on one line."""
    found = []
    for fault in error.faults[:3]:
        parts = [f"{fault.key}: {fault.message}" if fault.key else fault.message]
        parts += [f"expected {fault.expected}"] * bool(fault.expected) + [fault.hint] * bool(
            fault.hint
        )
        found.append("; ".join(parts))
    return harmless(" · ".join(found))


def shown(control: Control) -> str:
    """Value of a control as a file would write it; empty where it is left out."""
    value, spec = control.value, control.spec
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, (int, float)):
        return f"{in_unit(value, spec.unit):.6g} {spec.unit}".strip()
    return str(value)


def ends(spec: Spec, value: float | None) -> tuple[float, float] | None:
    """Ends of a slider in the printed unit: the usual range, widened to the present value."""
    if spec.usual is None or spec.step <= 0:
        return None
    low, high = spec.usual
    if value is not None:
        low, high = min(low, value), max(high, value)
    return in_unit(low, spec.unit), in_unit(high, spec.unit)


def addable(inputs: Inputs, group: str) -> list[str]:
    """Paths of tables of a group that could be added."""
    found: list[str] = []

    def look(node: Any, prefix: str) -> None:
        for key, spec in specs(type(node)).items():
            value, path = getattr(node, key), f"{prefix}{key}"
            if not prefix and spec.group != group:
                continue
            if spec.kind == "tables":
                found.append(path)
                for number, item in enumerate(value, start=1):
                    look(item, f"{path}.{number}.")
            elif spec.kind == "table" and value is None:
                found.append(path)
            elif spec.kind == "table":
                look(value, f"{path}.")

    look(inputs, "")
    return found


def removable(inputs: Inputs, table: str) -> bool:
    """Whether a table may be taken away as far as its kind says."""
    head, _, key = table.rpartition(".")
    owner = value_at(inputs, head) if head else inputs
    if isinstance(owner, tuple):
        above = head.rpartition(".")[0]
        kind = type(value_at(inputs, above)) if above else Inputs
        return len(owner) > 1 or not is_required(kind, head.rpartition(".")[2])
    return (
        dataclasses.is_dataclass(owner)
        and not is_required(type(owner), key)
        and key not in ("factors", "settings")
    )


class Row:
    """Control of one value: text field, slider or choice, what is assumed, and a way to leave it
    out."""

    def __init__(self, form: Form, control: Control) -> None:
        self.form, self.path, self.spec = form, control.path, control.spec
        self._busy = True
        self._value = control.value
        label = f"{control.spec.label}, {control.path}"
        with ui.element("div").classes("key"):
            self._build(control, label)
            self._clear = ui.button(icon="backspace", on_click=lambda: self.set_to(None))
            self._clear.props(f'flat dense size=sm aria-label="Leave out {control.path}"').classes(
                "clear"
            )
            self._info = ui.label("").classes("info")
        self._busy = False
        self.sync(control)

    def _build(self, control: Control, label: str) -> None:
        spec, self._slider = control.spec, None
        if control.choices or spec.kind == "flag":
            options = [LEFT_OUT, *(control.choices or ("true", "false"))]
            self._field: Any = ui.select(
                options, label=spec.label, value=LEFT_OUT, on_change=self._chosen
            )
            self._field.props(f'dense outlined options-dense aria-label="{label}"')
            return
        self._field = ui.input(label=spec.label).props(
            f'dense outlined aria-label="{label}" autocomplete=off'
        )
        self._field.on(
            "change",
            lambda e: self.set_to(e.args),
            js_handler="(v) => emit(v?.target ? v.target.value : v)",
        )
        if spec.kind in ("quantity", "number", "integer"):
            for key, sign in (("up", 1), ("down", -1)):
                self._field.on(f"keydown.{key}.prevent", lambda _, s=sign: self._stepped(s))
            span = ends(spec, control.value)
            if span is not None:
                step = 1.0 if spec.kind == "integer" else spec.step
                self._slider = ui.slider(min=span[0], max=span[1], step=step, value=span[0])
                self._slider.props(f'dense aria-label="{label}, slider"').classes("slide")
                self._slider.on("update:model-value", lambda e: self._slid(e.args), throttle=0.1)

    def _chosen(self, event: Any) -> None:
        if not self._busy:
            self.set_to(None if event.value == LEFT_OUT else event.value)

    def _slid(self, number: Any) -> None:
        if isinstance(number, (int, float)) and not self._busy:
            self.set_to(f"{number:.6g} {self.spec.unit}".strip())

    def _stepped(self, sign: int) -> None:
        span = ends(self.spec, self._value)
        if self.spec.step <= 0:
            return
        now = (
            in_unit(self._value, self.spec.unit) if self._value is not None else (span or (0.0,))[0]
        )
        self.set_to(f"{now + sign * self.spec.step:.6g} {self.spec.unit}".strip())

    def set_to(self, text: Any) -> None:
        """Change the value; what is wrong with it is told here."""
        tab, path = self.form.tab, self.path
        if text is None or not str(text).strip():
            trouble = tab.attempt(lambda: with_value(tab.state.inputs, path, None))
        else:
            trouble = tab.attempt(lambda: with_text(tab.state.inputs, path, str(text)[:2000]), path)
        self.form.told(self.path, trouble)
        if isinstance(self._field, ui.input):
            self._field.error = trouble or None
            self._field.props(
                "aria-invalid=true" if trouble else "", remove="" if trouble else "aria-invalid"
            )
            if trouble and text is not None:
                self._field.set_value(str(text))
        elif trouble:
            tab.tell(trouble)
            self.form.refresh()

    def sync(self, control: Control) -> None:
        """Show the present value, unless a wrong one stands here."""
        if control.path in self.form.wrong:
            return
        self._busy, self._value = True, control.value
        text = shown(control)
        given = control.given
        if isinstance(self._field, ui.select):
            wanted = (
                text
                if (given or control.value is not None) and text in self._field.options
                else LEFT_OUT
            )
            if self._field.value != wanted:
                self._field.set_value(wanted)
        elif self._field.value != text:
            self._field.error = None
            self._field.set_value(text)
        if self._slider is not None and control.value is not None:
            number = in_unit(control.value, self.spec.unit)
            low, high = self._slider._props["min"], self._slider._props["max"]
            if not low <= number <= high:
                self._slider._props.update(min=min(low, number), max=max(high, number))
                self._slider.update()
            if self._slider.value != number:
                self._slider.set_value(number)
        self._field.set_enabled(control.applies)
        self._clear.set_visibility(given and control.spec.kind != "table")
        assumed = self.form.assumed.get(control.path, "")
        info = assumed if assumed and not given else control.spec.meaning
        if not given and not assumed:
            info += (
                f"; {control.spec.left_out}"
                if control.spec.left_out
                else "; default"
                if text
                else "; left out"
            )
        if not control.applies and control.spec.condition is not None:
            info = f"only for {control.spec.condition[0]} {' or '.join(control.spec.condition[1])}"
        if self._info.text != info:
            self._info.set_text(harmless(info))
        self._busy = False


class Form:
    """The path of power as buttons, and the controls of the part that is chosen."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        self.group = GROUPS[5]
        self.wrong: dict[str, str] = {}
        self.assumed: dict[str, str] = {}
        self._tables: dict[str, str] = {}
        self._rows: dict[str, Row] = {}
        self._open: set[str] = set()
        self._structure: Any = None
        self._parts: dict[str, Any] = {}
        with ui.element("section").classes("form").props('aria-label="Build"'):
            with (
                ui.element("div")
                .classes("path")
                .props('role="group" aria-label="Parts along the way of the power"')
            ):
                for group in GROUPS:
                    part = (
                        ui.button(on_click=lambda g=group: self.choose(g))
                        .props("flat no-caps")
                        .classes("part")
                    )
                    with part:
                        self._parts[group] = ui.html("", sanitize=False), part
            search = (
                ui.input("Search for a key")
                .props("dense outlined clearable debounce=200")
                .classes("search")
            )
            search.on_value_change(lambda e: self._search(str(e.value or "")))
            self._wrong = ui.label("").classes("wrong")
            self._box = ui.element("div").classes("keys")
        self.fill()

    def choose(self, group: str) -> None:
        """Show the controls of a part."""
        self.group = group
        self.fill()
        self._show_parts()

    def show(self, found: dict[str, Any]) -> None:
        """Take what an answer says of assumed values and of the parts."""
        self.assumed, self._tables = found["assumed"], found["tables"]
        self.refresh()

    def told(self, path: str, trouble: str) -> None:
        """Remember whether a wrong value stands at a control."""
        self.wrong.pop(path, None)
        if trouble:
            self.wrong[path] = trouble
        names = ", ".join(self.wrong)
        text = (
            (
                f"Not taken over, because it is wrong: {names}. The answer "
                f"is that of the values before."
            )
            if names
            else ""
        )
        self._wrong.set_text(text)

    def refresh(self) -> None:
        """Bring the controls to the present build; only a changed set of tables builds them
        anew."""
        inputs = self.tab.state.inputs
        if self._structure_of(inputs) != self._structure:
            self.fill()
        else:
            for control in controls(inputs):
                if control.path in self._rows:
                    self._rows[control.path].sync(control)
        self._show_parts()

    def _structure_of(self, inputs: Inputs) -> Any:
        tables = {
            control.path.rpartition(".")[0]
            for control in controls(inputs)
            if control.group == self.group
        }
        return self.group, frozenset(tables)

    def _show_parts(self) -> None:
        inputs = self.tab.state.inputs
        facts, groups = (
            group_facts(inputs),
            {key: spec.group for key, spec in specs(Inputs).items()},
        )
        status = {groups[key]: word for key, word in self._tables.items() if key in groups}
        tones = {word.value: found.tone for word, found in MARKS.items()}
        for group, (html, button) in self._parts.items():
            word = status.get(group, "")
            sign = (
                (
                    f'<i class="mark {tones[word]}" '
                    f'title="{word}">{SIGNS[tones[word]]}</i><span class="spoken">{word}</span>'
                )
                if word
                else ""
            )
            text = f"<b>{group}</b>{sign}<small>{facts.get(group, '')}</small>"
            if html.content != text:
                html.set_content(text)
            button.props(f"aria-pressed={'true' if group == self.group else 'false'}")

    def fill(self) -> None:
        """Build the controls of the chosen part."""
        inputs = self.tab.state.inputs
        self._structure = self._structure_of(inputs)
        self._rows.clear()
        self._box.clear()
        self.wrong.clear()
        self.told("", "")
        tables: dict[str, list[Control]] = {}
        for control in controls(inputs):
            if control.group == self.group:
                tables.setdefault(control.path.rpartition(".")[0], []).append(control)
        with self._box:
            for table, rows in tables.items():
                self._table(inputs, table, rows)
            with ui.element("div").classes("adding"):
                for path in addable(inputs, self.group):
                    name = _name(path)
                    ui.button(
                        f"Add {name}",
                        on_click=lambda p=path: self._change(
                            lambda: with_table(self.tab.state.inputs, p)
                        ),
                    ).props(f'outline dense no-caps icon=add aria-label="Add {path}"')

    def _table(self, inputs: Inputs, table: str, rows: list[Control]) -> None:
        with ui.element("fieldset").classes("table"):
            with ui.element("legend"):
                ui.label(_name(table) or "scenario")
            self._buttons(inputs, table)
            first = [c for c in rows if c.given or c.path in self.wrong]
            rest = [c for c in rows if c not in first]
            for control in first:
                self._rows[control.path] = Row(self, control)
            if rest:
                more = ui.expansion(f"{len(rest)} more keys", value=table in self._open).props(
                    "dense dense-toggle"
                )
                more.classes("more")
                more.on_value_change(lambda e: self._opened(table, e.value, more, rest))
                if table in self._open:
                    self._fill_more(more, rest)

    def _opened(self, table: str, is_open: bool, more: Any, rest: list[Control]) -> None:
        (self._open.add if is_open else self._open.discard)(table)
        if is_open and rest[0].path not in self._rows:
            self._fill_more(more, rest)
            self.refresh()

    def _fill_more(self, more: Any, rest: list[Control]) -> None:
        with more:
            for control in rest:
                self._rows[control.path] = Row(self, control)

    def _buttons(self, inputs: Inputs, table: str) -> None:
        key, _, number = table.partition(".")
        with ui.element("div").classes("buttons"):
            if number.isdecimal() and key in LISTS:
                at = int(number) - 1
                for icon, by, words in (
                    ("arrow_upward", -1, "earlier"),
                    ("arrow_downward", 1, "later"),
                ):
                    if 0 <= at + by < len(getattr(inputs, key)):
                        self._icon(
                            icon,
                            f"Move {table} {words}",
                            lambda b=by: moved(self.tab.state.inputs, key, at, b),
                        )
                self._icon(
                    "content_copy", f"Copy {table}", lambda: _copied(self.tab.state.inputs, key, at)
                )
            if table and removable(inputs, table):
                self._icon(
                    "delete", f"Remove {table}", lambda: without_table(self.tab.state.inputs, table)
                )

    def _icon(self, icon: str, label: str, change: Any) -> None:
        ui.button(icon=icon, on_click=lambda: self._change(change)).props(
            f'flat dense size=sm aria-label="{label}"'
        )

    def _change(self, change: Any) -> None:
        trouble = self.tab.attempt(change)
        if trouble:
            self.tab.tell(trouble)
        else:
            self.fill()

    def _search(self, text: str) -> None:
        if not text.strip():
            self.fill()
            return
        words = text.lower().split()
        found = []
        for control in controls(self.tab.state.inputs):
            about = f"{control.path} {control.spec.label} {control.spec.meaning}".lower()
            if all(word in about for word in words):
                found.append(control)
        self._rows.clear()
        self._box.clear()
        with self._box:
            if not found:
                ui.label("No key has these words.")
            for control in found[:MOST_FOUND]:
                ui.label(control.path).classes("where")
                self._rows[control.path] = Row(self, control)
            if len(found) > MOST_FOUND:
                ui.label(f"{len(found) - MOST_FOUND} more; give another word.")


def _name(path: str) -> str:
    return re.sub(r"[._]", " ", path)


def _copied(inputs: Inputs, key: str, at: int) -> Inputs:
    rows = to_values(inputs)[key]
    return with_table(inputs, key, rows[at])
