"""What leaves the page: the scenario as TOML, the command line, the report, figures and the
record."""

import os
import shlex
from typing import Any

from nicegui import ui

from winchsim.errors import InputError
from winchsim.inputs import spec_at
from winchsim.page.long_job import LongJob
from winchsim.page.row import value_text
from winchsim.page.state import State, changed_keys, changes
from winchsim.report.render.options import safe
from winchsim.scenario.change import quantity_text
from winchsim.scenario.read import read_string
from winchsim.scenario.values import LEFT_OUT


def command_line(state: State, path: str) -> str:
    """Command that lifts the present build; empty where no options say it."""
    overrides = []
    for key, value in changes(state.base, state.inputs):
        spec = spec_at(state.base if value is None else state.inputs, key)
        is_number = spec.kind in ("quantity", "number") and value is not None
        text = quantity_text(spec, value) if is_number else value_text(spec, value) or LEFT_OUT
        overrides.append(f"{key}={text}")
    try:
        same = read_string(state.scenario.text, path, overrides).inputs
    except InputError:
        return ""
    options = [word for override in overrides for word in ("--set", override)]
    return shlex.join(["winchsim", "lift", path, *options]) if same == state.inputs else ""


class TakeOut:
    """Panel that saves and hands out."""

    def __init__(self, tab: Any) -> None:
        self.tab, self.name = tab, os.path.basename(tab.site.path)
        self._shown: Any = None
        with ui.element("section").classes("sheet").props('aria-label="Save"'):
            self._changed = ui.label("")
            with ui.element("div").classes("line"):
                for text, do in (
                    (f"Save as {self.name}", self._save),
                    ("Make TOML, report, figures and record", self._make),
                ):
                    ui.button(text, on_click=do).props("outline no-caps")
            self._job = LongJob(tab)
            self._files = ui.element("div").classes("line").props('role=group aria-label="Files"')
            ui.label("Command of this lift").classes("heading")
            self._command = ui.html("", sanitize=False, tag="pre")
        tab.followers.append(self._refresh)

    def _refresh(self) -> None:
        state = self.tab.state
        if self._shown == (state.inputs, state.base):
            return
        self._shown = state.inputs, state.base
        named = changed_keys(state.base, state.inputs)
        self._changed.set_text(f"Values that differ from the file: {named or 'none'}")
        self._command.set_content(
            safe(command_line(state, self.tab.site.path))
            or "No options give this build: save the scenario first."
        )
        self._files.clear()

    async def _save(self) -> None:
        scenario, path = self.tab.scenario(), self.tab.site.path
        if scenario is None or not await self.tab.may_replace(path, "Its comments are kept."):
            return
        if self.tab.write(path, scenario.text):
            self.tab.saved(scenario)
            self._job.tell(f"Saved as {path}.")

    async def _make(self) -> None:
        scenario = self.tab.scenario()
        if scenario is None:
            return
        made = await self._job.result("The report is being made.", "report", scenario) or {}
        self._files.clear()
        for name, content in ({self.name: scenario.text} | made).items():
            with self._files:
                ui.button(
                    name,
                    icon="download",
                    on_click=lambda n=name, c=content: ui.download.content(c, n),
                ).props("outline dense no-caps")
