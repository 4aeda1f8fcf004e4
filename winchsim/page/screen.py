"""One tab: its layout, and the loop that lifts the newest build while the last good answer
stays."""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import os
import time
from collections.abc import Callable
from importlib.resources import files
from typing import Any

from nicegui import Client, background_tasks, ui

from winchsim.errors import InputError, WinchsimError
from winchsim.inputs import Inputs
from winchsim.page.form import Form, fault_text
from winchsim.page.process import BrokenError, StoppedError, Worker
from winchsim.page.state import State, WorkFile, restored
from winchsim.report.plain_text import harmless, safe
from winchsim.report.words.advice import CAUTIONS
from winchsim.scenario.change import with_value
from winchsim.scenario.read import Scenario

MOST_OPEN = 8
"""Tabs that are open at a time. [-]"""

PATIENCE = 2.0
"""After so long a run can be stopped by hand. [s]"""

QUIET = 0.3
"""Pause after a change before the second pass begins, which costs more. [s]"""

KEEP_AFTER = 0.5
"""Pause after a change before the work file is written. [s]"""

CAUTION = (
    "Not rated lifting equipment. Nobody under or beside the load, no people on it, guard teeth and rope, "
    "begin with small test loads."
)

CODES = "Follow local codes; a competent person decides."


class Site:
    """What all tabs of a server share.

    Parameters
    ----------
    scenario : Scenario
    path : str
        Its file.
    spare : Worker
        One that was started ahead, for the first tab.
    """

    def __init__(self, scenario: Scenario, path: str, spare: Worker) -> None:
        self.scenario = scenario
        self.path = path
        self.work = WorkFile(path)
        self.share_address = ""
        self.tabs: set[Tab] = set()
        self.faults: list[str] = []
        self.log_handler = _Faults(self.faults)
        self._spare: Worker | None = spare

    def worker(self) -> Worker:
        """A worker for a tab."""
        found, self._spare = self._spare or Worker(), None
        return found

    def close(self) -> None:
        """Keep the work of all tabs, and end their workers."""
        for tab in list(self.tabs):
            tab.close()


class _Faults(logging.Handler):
    """Handler that counts what the page's library logs as an error."""

    def __init__(self, found: list[str]) -> None:
        super().__init__(logging.ERROR)
        self._found = found

    def emit(self, record: logging.LogRecord) -> None:
        self._found.append(record.getMessage()[:500])
        del self._found[:-50]


async def open_tab(site: Site) -> None:
    """Lay out a tab and begin to work for it when its socket is connected."""
    if len(site.tabs) >= MOST_OPEN:
        ui.label(f"{MOST_OPEN} tabs are open. Close one and load this page again.")
        return
    tab = Tab(site, ui.context.client)
    tab.lay_out()
    await ui.context.client.connected(timeout=30)
    tab.begin()


class Tab:
    """State, workers and elements of one tab."""

    def __init__(self, site: Site, client: Client) -> None:
        self.site = site
        self.client = client
        self.state = State(site.scenario)
        self.answer: dict[str, Any] = {}
        self.base: dict[str, Any] | None = None
        self.key = ""
        self._grey: dict[str, Any] | None = None
        self.first: Worker | None = None
        self.second: Worker | None = None
        self.followers: list[Callable[[], None]] = []
        self.closers: list[Callable[[], None]] = []
        self._wanted = asyncio.Event()
        self._tasks: list[asyncio.Task[Any]] = []
        self._since = 0.0
        self._revision = 0

    # --- life ---------------------------------------------------------------------------------

    def begin(self) -> None:
        """Take over earlier work of this tab, and compute."""
        self.key = self.client.tab_id or self.client.id
        self.site.tabs.add(self)
        self.client.on_delete(self.close)
        self.first, self.second = self.site.worker(), Worker()
        work = self.site.work
        if restored(self.state, work.of_tab(self.key)):
            self._note.set_text("Your work in this tab goes on where it was.")
        elif (latest := work.latest()) is not None:
            self._offer(*latest)
        if work.trouble:
            self.tell(work.trouble)
        self._tasks = [
            background_tasks.create(self._compute(), name="compute"),
            background_tasks.create(self._save_later(), name="save"),
        ]
        self.changed()

    def close(self) -> None:
        """End the workers and keep the work."""
        if self not in self.site.tabs:
            return
        self.site.tabs.discard(self)
        for task in self._tasks:
            task.cancel()
        for worker in (self.first, self.second):
            if worker is not None:
                worker.stop(again=False)
        for stop in self.closers:
            stop()
        self.site.work.keep(self.key, self.state)

    def _offer(self, when: str, dumped: dict[str, Any]) -> None:
        def take() -> None:
            if restored(self.state, dumped):
                self.changed()
            self._offered.clear()

        with self._offered:
            ui.label(f"There is work of {when} on this scenario.")
            ui.button("Continue it", on_click=take).props("outline no-caps")
            ui.button("Start from the file", on_click=self._offered.clear).props("flat no-caps")

    # --- layout -------------------------------------------------------------------------------

    def lay_out(self) -> None:
        """Build the page; it is filled when the first answer is there."""
        from winchsim.page.sizing import Sizing
        from winchsim.page.take_out import TakeOut
        from winchsim.page.test_day import TestDay
        from winchsim.page.variants import Variants

        ui.colors(primary="#24577a", negative="#b3261e")
        package = files("winchsim.page")
        ui.add_css((package / "page.css").read_text(encoding="utf-8"))
        script = (package / "page.js").read_text(encoding="utf-8")
        ui.add_body_html(f"<script>{script}</script>")
        self._lay_out_top()
        with (
            ui.tabs()
            .props("no-caps dense align=left outside-arrows mobile-arrows")
            .classes("views") as tabs
        ):
            for name in ("Lift", "Variants", "Sizing", "Test day", "Save"):
                ui.tab(name)
        tabs.on_value_change(lambda: self.client.run_javascript("setTimeout(winch.redraw, 100)"))
        with ui.tab_panels(tabs, value="Lift", animated=False, keep_alive=True).classes("panels"):
            with ui.tab_panel("Lift"), ui.element("div").classes("work"):
                self.form = Form(self)
                self._lay_out_answer()
            for name, part in (
                ("Variants", Variants),
                ("Sizing", Sizing),
                ("Test day", TestDay),
                ("Save", TakeOut),
            ):
                with ui.tab_panel(name):
                    part(self)
        with ui.footer().classes("caution"):
            self._caution = ui.label(f"{CAUTION} {CODES}")
            with ui.dialog() as dialog, ui.card():
                ui.label("Cautions").classes("heading")
                for text in CAUTIONS.values():
                    ui.label(text)
                ui.button("Close", on_click=dialog.close).props("outline no-caps")
            ui.button("All cautions", on_click=dialog.open).props("flat dense no-caps")
        ui.keyboard(on_key=self._key, ignore=["input", "textarea", "select"])

    def _lay_out_top(self) -> None:
        with ui.header().classes("top"):
            with ui.element("div").classes("bar1"):
                ui.label(harmless(self.state.base.title or self.site.path)).classes("title")
                self._undo = ui.button(icon="undo", on_click=self.undo).props(
                    'flat dense aria-label="Undo"'
                )
                self._redo = ui.button(icon="redo", on_click=self.redo).props(
                    'flat dense aria-label="Redo"'
                )
                dark = ui.dark_mode(None)
                ui.button(icon="contrast", on_click=lambda: self._toggle(dark)).props(
                    'flat dense aria-label="Light or dark"'
                )
            with ui.element("div").classes("verdict").props('role="status" aria-live="polite"'):
                self._head = ui.html("Computing the first answer …", sanitize=False).classes("head")
                self._note = ui.label("").classes("note")
                self._stop = ui.button("Stop this run", on_click=self._stop_run).props(
                    "outline dense no-caps"
                )
                self._stop.set_visibility(False)
            self._offered = ui.element("div").classes("offered")

    def _lay_out_answer(self) -> None:
        with ui.element("section").classes("answer").props('aria-label="Answer"'):
            self._actions = ui.element("div").classes("actions")
            self._body = ui.html("", sanitize=False)
        with ui.element("section").classes("moving").props('aria-label="Picture and curves"'):
            self._picture = ui.html("", sanitize=False).classes("picture")
            ui.html(_PLAYER, sanitize=False)
            self.chart = ui.echart({"series": []}, renderer="canvas").classes("curves")
            self.chart.props(
                'role="img" aria-label="Curves of the lift over time; the '
                'numbers are in the table below"'
            )
            ui.html('<div class="readout" id="w-readout" aria-live="off"></div>', sanitize=False)

    async def _toggle(self, dark: Any) -> None:
        is_dark = await self.client.run_javascript(
            "return document.body.classList.contains('body--dark')"
        )
        dark.set_value(not is_dark)

    def _key(self, event: Any) -> None:
        if event.action.keydown and event.modifiers.ctrl and event.key.name in ("z", "Z", "y"):
            self.redo() if event.key.name == "y" or event.modifiers.shift else self.undo()

    # --- changes ------------------------------------------------------------------------------

    def tell(self, text: str) -> None:
        """Show a message until it is closed."""
        with self.client:
            ui.notification(
                harmless(text), close_button="Close", timeout=8, multi_line=True, position="top"
            )

    async def agreed(self, question: str) -> bool:
        """Ask before something is replaced."""
        with self.client, ui.dialog() as dialog, ui.card():
            ui.label(harmless(question))
            with ui.element("div").classes("line"):
                ui.button("Replace", on_click=lambda: dialog.submit(True)).props("outline no-caps")
                ui.button("Leave it", on_click=lambda: dialog.submit(False)).props(
                    "outline no-caps"
                )
        agreed = bool(await dialog)
        dialog.delete()
        return agreed

    def attempt(self, change: Callable[[], Inputs], what: str = "") -> str:
        """Make a changed build the present one; returns what is wrong with it, or an empty text."""
        try:
            self.state.put(change(), what)
        except InputError as error:
            return fault_text(error)
        except WinchsimError as error:
            return str(error)
        self.changed()
        return ""

    def take(self, inputs: Inputs, what: str) -> None:
        """Take a build from a study, a variant or an action."""
        self.state.put(inputs)
        self.changed()
        self._note.set_text(harmless(what))

    def compare(self, inputs: Inputs, name: str) -> None:
        """Draw the curves of another build in grey behind those of the present one."""

        async def compute() -> None:
            worker = self.site.worker()
            try:
                async for found in worker.run("lift", inputs):
                    self._grey = found["tracks"]
                    self._draw()
                    self._note.set_text(harmless(f"In grey: {name}."))
            finally:
                worker.stop(again=False)

        background_tasks.create(compute(), name="compare")

    def saved(self) -> None:
        """The present build is now that of the file."""
        self.base = self.answer.get("tracks")
        self.changed()

    def undo(self) -> None:
        """Take the last step back."""
        self.state.undo()
        self.changed()

    def redo(self) -> None:
        """Take the step again."""
        self.state.redo()
        self.changed()

    def changed(self) -> None:
        """Show the present build in the form, and want an answer for it."""
        self._revision += 1
        self._undo.set_enabled(self.state.can_undo)
        self._redo.set_enabled(self.state.can_redo)
        self.form.refresh()
        for follow in self.followers:
            follow()
        self._wanted.set()
        if (
            self.first is not None
            and self.first.busy
            and time.monotonic() - self._since > PATIENCE / 2
        ):
            self.first.stop()

    def apply(self, changes: list[tuple[str, Any]]) -> None:
        """Apply an action: paths and values."""

        def changed() -> Inputs:
            inputs = self.state.inputs
            for path, value in changes:
                inputs = with_value(inputs, path, value)
            return inputs

        trouble = self.attempt(changed)
        if trouble:
            self.tell(trouble)

    # --- computing ----------------------------------------------------------------------------

    def _stop_run(self) -> None:
        if self.first is not None and self.first.busy:
            self.first.stop()
            self._note.set_text("Stopped: this is the answer of an earlier build.")

    async def _compute(self) -> None:
        later: asyncio.Task[Any] | None = None
        while True:
            await self._wanted.wait()
            self._wanted.clear()
            if later is not None:
                later.cancel()
            inputs, revision, self._since = self.state.inputs, self._revision, time.monotonic()
            waiting = asyncio.get_running_loop().call_later(PATIENCE, self._slow)
            try:
                assert self.first is not None
                async for found in self.first.run("lift", inputs):
                    self._show_first(found)
            except (StoppedError, BrokenError, WinchsimError) as error:
                self._show_fault(error)
                continue
            finally:
                waiting.cancel()
                self._stop.set_visibility(False)
            if revision == self._revision:
                later = background_tasks.create(
                    self._second_pass(inputs, revision), name="second pass"
                )

    def _slow(self) -> None:
        self._stop.set_visibility(True)
        self._old("Still computing. This is the answer of an earlier build.")

    def _old(self, why: str) -> None:
        self._note.set_text(why)
        self._head.classes(add="old")
        self._body.classes(add="old")

    def _show_fault(self, error: Exception) -> None:
        if isinstance(error, StoppedError):
            if not self._wanted.is_set():
                self._old("Stopped: this is the answer of an earlier build.")
            return
        text = fault_text(error) if isinstance(error, InputError) else str(error)
        if isinstance(error, BrokenError):
            text = "An internal fault: " + text.strip().splitlines()[-1]
            self.site.faults.append(str(error))
        self._old(
            harmless(f"No answer for this build: {text} Below is the answer of an earlier build.")
        )

    def _show_first(self, found: dict[str, Any]) -> None:
        self.answer = found
        self._show(found, "Ranges and actions are being computed.")
        self._picture.set_content(found["svg"])
        if self.base is None and self.state.inputs == self.state.base:
            self.base = found["tracks"]
        self._draw()

    def _draw(self) -> None:
        base = self.base if self.state.inputs != self.state.base else None
        found = {key: self.answer[key] for key in ("tracks", "motion")} | {
            "base": self._grey or base
        }
        self.client.run_javascript(f"winch.show({self.chart.id}, {json.dumps(found)})")

    def _show(self, found: dict[str, Any], note: str) -> None:
        self.answer = self.answer | found
        for element in (self._head, self._body):
            element.classes(remove="old")
        self._head.set_content(found["head"])
        self._body.set_content(found["body"])
        self._caution.set_text(f"{_plain(found['last'])} {CAUTION}")
        self._note.set_text(note)
        self.form.show(found)

    async def _second_pass(self, inputs: Inputs, revision: int) -> None:
        self._actions.clear()
        await asyncio.sleep(QUIET)
        assert self.second is not None
        notes = iter(("Actions are being tried.", ""))
        with contextlib.suppress(StoppedError):
            try:
                async with contextlib.aclosing(self.second.run("thorough", inputs)) as results:
                    async for found in results:
                        if revision != self._revision:
                            return
                        self._show(found, next(notes))
                        self._show_actions(found["actions"])
            except (BrokenError, WinchsimError) as error:
                self._note.set_text(
                    f"Ranges and actions could not be computed: {str(error)[-200:]}"
                )

    def _show_actions(self, actions: list[dict[str, Any]]) -> None:
        self._actions.clear()
        if not actions:
            return
        with self._actions:
            ui.label("Actions").classes("heading")
            for number, action in enumerate(actions, start=1):
                with ui.element("div").classes("action"):
                    ui.html(f"{number}. {action['text']}", sanitize=False)
                    apply = ui.button("Apply", on_click=lambda a=action: self.apply(a["changes"]))
                    apply.props(f'outline dense no-caps aria-label="Apply action {number}"')

    async def _save_later(self) -> None:
        """Keep the work a moment after each change."""
        kept = -1
        while True:
            await asyncio.sleep(KEEP_AFTER)
            if kept != self._revision:
                kept = self._revision
                self.site.work.keep(self.key, self.state)


def file_name(path: str) -> str:
    """Name of a file for the page."""
    return safe(os.path.basename(path))


def _plain(text: str) -> str:
    return text.replace("\N{NO-BREAK SPACE}", " ")


_PLAYER = """
<div class="player">
<button type="button" id="w-play" aria-label="Play or pause">▶</button>
<label>speed <select id="w-rate" aria-label="Speed of the picture">
<option value="1">1 ×</option><option value="2">2 ×</option><option value="5">5 ×</option>
<option value="10">10 ×</option><option value="20">20 ×</option><option value="50">50 ×</option></select></label>
<input type="range" id="w-time" min="0" max="1000" value="0" aria-label="Time in the lift">
<output id="w-now"></output></div>
"""
