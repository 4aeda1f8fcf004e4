"""What leaves the page: the scenario as TOML, the command line, the report and the record."""

from __future__ import annotations

import os
import shlex
from typing import Any

from nicegui import ui

from winchsim.errors import OutputError, WinchsimError
from winchsim.inputs import Inputs, specs, table_type
from winchsim.page.long_job import LongJob
from winchsim.page.state import State, changes
from winchsim.report.plain_text import safe
from winchsim.report.writing import write_file
from winchsim.scenario.read import Scenario
from winchsim.scenario.rewrite import quantity_text, rewrite


def rewritten(state: State) -> Scenario:
    """The scenario's text with the present values, its comments kept.

    Raises
    ------
    InputError
        The text is written in a way that a change cannot be put into.
    """
    return rewrite(state.scenario, state.inputs)


def command_line(state: State, path: str) -> str:
    """Command that lifts the present build; empty where only a new file can say it."""
    words = ["winchsim", "lift", path]
    for key, value in changes(state.base, state.inputs):
        if value is None:
            return ""
        spec = _spec(key)
        text = quantity_text(spec, value) if spec.kind in ("quantity",) else _plain(value)
        words += ["--set", f"{key}={text}"]
    return shlex.join(words)


def _plain(value: Any) -> str:
    return (
        str(value).lower()
        if isinstance(value, bool)
        else f"{value!r}"
        if isinstance(value, float)
        else str(value)
    )


def _spec(path: str) -> Any:
    """Declaration of a value by its path, whether a scenario has it or not."""
    table: type = Inputs
    *above, key = [part for part in path.split(".") if not part.isdecimal()]
    for part in above:
        table = table_type(table, part)
    return specs(table)[key]


class TakeOut:
    """Panel that saves and hands out."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        with ui.element("section").classes("sheet").props('aria-label="Save"'):
            self._changed = ui.label("")
            with ui.element("div").classes("line"):
                self._button(f"Save as {os.path.basename(tab.site.path)}", self._save)
                self._button("Scenario as TOML", self._toml)
                self._button("Report", lambda: self._report("report.html", "text/html"))
                self._button("Record as CSV", lambda: self._report("record.csv", "text/csv"))
            self._job = LongJob(tab)
            ui.label("Command of this lift").classes("heading")
            self._command = ui.html("", sanitize=False, tag="pre")
            if not tab.site.share_address.startswith(
                ("http://127.", "http://localhost", "http://[::1]")
            ):
                ui.label("Address for a phone in the same network").classes("heading")
                ui.label(tab.site.share_address)
        tab.followers.append(self._refresh)

    def _button(self, text: str, do: Any) -> None:
        ui.button(text, on_click=do).props("outline no-caps")

    def _refresh(self) -> None:
        state = self.tab.state
        changed = changes(state.base, state.inputs)
        names = ", ".join(path for path, _ in changed[:8]) + (" …" if len(changed) > 8 else "")
        self._changed.set_text(
            f"{len(changed)} values differ from the file: {names}"
            if changed
            else "No value differs from the file."
        )
        command = command_line(state, self.tab.site.path)
        self._command.set_content(
            safe(command) or "A value was taken back or a table removed: save the scenario first."
        )

    def _toml(self) -> None:
        try:
            text = rewritten(self.tab.state).text
        except WinchsimError as error:
            self.tab.tell(str(error))
            return
        ui.download.content(text, os.path.basename(self.tab.site.path), "application/toml")

    async def _save(self) -> None:
        path, state = self.tab.site.path, self.tab.state
        try:
            scenario = rewritten(state)
        except WinchsimError as error:
            self.tab.tell(str(error))
            return
        if os.path.exists(path) and not await self.tab.agreed(
            f"{path} exists. Replace it? Its comments are kept."
        ):
            return
        try:
            write_file(path, scenario.text, force=True)
        except OutputError as error:
            self.tab.tell(str(error))
            return
        state.scenario = scenario
        state.base = (
            self.tab.site.scenario.inputs
            if scenario.inputs == self.tab.site.scenario.inputs
            else scenario.inputs
        )
        self.tab.site.scenario = scenario
        self.tab.saved()
        self._job.tell(f"Saved as {path}.")

    async def _report(self, name: str, kind: str) -> None:
        try:
            scenario = rewritten(self.tab.state)
        except WinchsimError as error:
            self.tab.tell(str(error))
            return
        made = await self._job.result("The report is being made.", "report", scenario)
        if made is not None:
            ui.download.content(made[name], name, kind)
