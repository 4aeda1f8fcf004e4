"""One tab: its state, and the loop that lifts the newest build while the last good answer stays."""

import asyncio
import logging
import os
import time
from collections.abc import Callable
from contextlib import aclosing, suppress
from functools import partial, reduce
from typing import Any

from nicegui import Client, background_tasks, ui

from winchsim.errors import WinchsimError
from winchsim.inputs import Inputs
from winchsim.page.process import StoppedError, Worker, WorkerError
from winchsim.page.row import fault_text
from winchsim.page.screen import Screen
from winchsim.page.state import State, WorkFile
from winchsim.report.render.options import harmless
from winchsim.report.writing import write_file
from winchsim.scenario.change import rewrite, with_value
from winchsim.scenario.read import Scenario

MOST_OPEN = 8
"""Tabs that are open at a time. [-]"""

PATIENCE = 2.0
"""After so long a run can be stopped by hand. [s]"""

QUIET = 0.3
"""Pause after a change before the second pass begins, which costs more. [s]"""

KEEP_AFTER = 0.5
"""Pause after a change before the work file is written. [s]"""


class Site:
    """What all tabs of a server share.

    Parameters
    ----------
    scenario : Scenario
    path : str
        Its file.
    spare : Worker
        One that was started ahead, for the first tab.
    share_address : str
        For other devices; empty for none.
    """

    def __init__(self, scenario: Scenario, path: str, spare: Worker, share_address: str) -> None:
        self.scenario, self.path, self.work = scenario, path, WorkFile(path)
        self.share_address, self._spare = share_address, spare
        self.tabs: set[Tab] = set()

    def worker(self) -> Worker:
        """A worker; the first one was started ahead."""
        found, self._spare = self._spare, Worker()
        return found

    async def open_tab(self) -> None:
        """Lay out a tab and begin to work for it when its socket is connected."""
        if len(self.tabs) >= MOST_OPEN:
            ui.label(f"{MOST_OPEN} tabs are open. Close one and load this page again.")
            return
        tab = Tab(self, ui.context.client)
        await tab.client.connected(timeout=30)
        tab.begin()

    def close(self) -> None:
        """Keep the work of all tabs, and end their workers."""
        for tab in list(self.tabs):
            tab.close()


class Tab:
    """State, workers and screen of one tab."""

    def __init__(self, site: Site, client: Client) -> None:
        self.site, self.client = site, client
        self.state = State(site.scenario)
        self.answer: dict[str, Any] = {}
        self.base: dict[str, Any] = {}
        self._before: dict[str, Any] = {}
        self.followers: list[Callable[[], None]] = []
        self.closers: list[Callable[[], Any]] = []
        self._grey: dict[str, Any] | None = None
        self._wanted = asyncio.Event()
        self._later: list[asyncio.Task[Any] | asyncio.TimerHandle] = []
        self._begun = 0.0
        self.screen = Screen(self)

    def begin(self) -> None:
        """Take over earlier work of this tab, and compute."""
        self.key, work = self.client.tab_id or self.client.id, self.site.work
        for before in [tab for tab in self.site.tabs if tab.key == self.key]:
            before.close()  # the same tab, loaded anew before its connection is given up
        self.site.tabs.add(self)
        self.client.on_delete(self.close)
        self.first, self._second = self.site.worker(), self.site.worker()
        self.closers += [partial(w.stop, again=False) for w in (self.first, self._second)]
        if not self.state.restore(work.of_tab(self.key)) and (latest := work.latest()):
            self.screen.offer(*latest)
        if work.trouble:
            self.tell(work.trouble)
        self.closers.append(background_tasks.create(self._compute()).cancel)
        self.changed()

    def close(self) -> None:
        """End the workers and keep the work."""
        if self not in self.site.tabs:
            return
        self.site.tabs.discard(self)
        for stop in (*self.closers, self._stop_waiting):
            stop()
        self._keep()

    # --- changes ------------------------------------------------------------------------------

    def tell(self, text: str) -> None:
        """Show a message until it is closed."""
        with self.client:
            ui.notification(
                harmless(text), close_button="Close", timeout=8, multi_line=True, position="top"
            )

    async def may_replace(self, path: str, words: str) -> bool:
        """Ask before a file that exists is replaced."""
        if not os.path.exists(path):
            return True
        with self.client, ui.dialog() as dialog, ui.card():
            ui.label(harmless(f"{path} exists. Replace it? {words}"))
            with ui.element("div").classes("line"):
                for text, answer in (("Replace", True), ("Leave it", False)):
                    button = ui.button(text, on_click=lambda a=answer: dialog.submit(a))
                    button.props("outline no-caps")
        agreed = bool(await dialog)
        dialog.delete()
        return agreed

    def take(self, inputs: Inputs, what: str = "") -> Inputs:
        """Make a build the present one, as `State.put` does, and return it."""
        self.state.put(inputs, what)
        self.changed()
        return inputs

    def apply(self, changes: list[tuple[str, Any]]) -> None:
        """Apply an action: paths and values."""
        inputs = self.state.inputs
        self.tried(lambda: self.take(reduce(lambda i, row: with_value(i, *row), changes, inputs)))

    def step(self, *, back: bool) -> None:
        """Take the last change back, or make it again."""
        self.state.step(back=back)
        self.changed()

    def tried(self, do: Callable[..., Any], *arguments: Any, **named: Any) -> Any:
        """What a function returns; False where an error prevents it, which is shown."""
        try:
            return do(*arguments, **named)
        except WinchsimError as error:
            self.tell(fault_text(error))
        return False

    def scenario(self) -> Scenario | None:
        """The scenario's text with the present values, its comments kept."""
        return self.tried(rewrite, self.state.scenario, self.state.inputs) or None

    def write(self, path: str, text: str) -> bool:
        """Write a file; whether that was possible."""
        return self.tried(write_file, path, text, force=True) is not False

    def saved(self, scenario: Scenario) -> None:
        """The present build is now that of the file."""
        self.state.scenario = self.site.scenario = scenario
        self.state.base, self.base = self.state.inputs, self.answer
        self.changed()

    def changed(self) -> None:
        """Show the present build, and want an answer for it."""
        self.screen.refresh()
        self._stop_waiting()
        self._later = [asyncio.get_running_loop().call_later(KEEP_AFTER, self._keep)]
        self._wanted.set()
        if self.first.busy and time.monotonic() - self._begun > PATIENCE / 2:
            self.first.stop()

    def _stop_waiting(self) -> None:
        """End what follows upon a change: its second pass, and keeping the work."""
        for task in self._later:
            task.cancel()

    def _keep(self) -> None:
        self.site.work.keep(self.key, self.state)

    # --- computing ----------------------------------------------------------------------------

    async def _compute(self) -> None:
        while True:
            await self._wanted.wait()
            self._wanted.clear()
            inputs, self._begun = self.state.inputs, time.monotonic()
            slow = asyncio.get_running_loop().call_later(PATIENCE, self.screen.slow)
            try:
                async for found in self.first.run("lift", inputs):
                    self._show_first(inputs, found)
            except (StoppedError, WorkerError, WinchsimError) as error:
                self._failed(error)
            else:
                if not self._wanted.is_set():
                    self._later.append(background_tasks.create(self._second_pass(found["run"])))
            finally:
                slow.cancel()

    def _show_first(self, inputs: Inputs, found: dict[str, Any]) -> None:
        was = self.state.done[-1] if self.state.done else None  # what undo goes back to
        if self.answer.get("inputs") is was:
            self._before = self.answer
        self.answer = found | {"inputs": inputs}
        if inputs == self.state.base:
            self.base = self.answer
        before = self._before if self._before.get("inputs") is was else {}
        self.screen.show_effect(before.get("followed", {}), found["followed"])
        self.screen.show(found, "Ranges and actions are being computed.")
        self.draw()

    def draw(self) -> None:
        """Draw the curves, those of another build or of the file in grey behind them."""
        base = self.base.get("tracks") if self.state.inputs != self.state.base else None
        self.screen.draw(self.answer, self._grey or base)

    def compare(self, tracks: dict[str, Any], name: str) -> None:
        """Draw the curves of another build in grey behind those of the present one."""
        self._grey = tracks
        self.draw()
        self.screen.note(f"In grey behind the curves: {name}.")

    async def _second_pass(self, run: bytes) -> None:
        notes = iter(("Actions are being tried.", ""))
        self.screen.show_actions([])
        await asyncio.sleep(QUIET)
        with suppress(StoppedError):  # by the next change
            try:
                async with aclosing(self._second.run("thorough", run)) as results:
                    async for found in results:
                        self.answer.update(found)
                        self.screen.show(found, next(notes))
                        self.screen.show_actions(found["actions"])
            except (WorkerError, WinchsimError) as error:
                self._failed(error)

    def _failed(self, error: Exception) -> None:
        if isinstance(error, WorkerError):
            logging.getLogger("winchsim").error(str(error))
        if not self._wanted.is_set():
            self.screen.old(fault_text(error))
