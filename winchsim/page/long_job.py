"""A job that takes longer: what it does and a button that stops it, beside whatever asked for
it."""

from collections.abc import Callable
from contextlib import aclosing
from typing import Any

from nicegui import ui

from winchsim.errors import WinchsimError
from winchsim.page.process import StoppedError, Worker, WorkerError
from winchsim.page.row import fault_text
from winchsim.report.render.options import harmless


class LongJob:
    """One line with the state of the job; a new job stops the one before."""

    def __init__(self, tab: Any) -> None:
        self.tab = tab
        self._worker: Worker | None = None
        with ui.element("div").classes("line"):
            self._label = ui.label("").props('role="status"')
            self._stop = ui.button("Stop", on_click=self.stop).props("outline dense no-caps")
        self._stop.set_visibility(False)
        tab.closers.append(self.stop)

    def tell(self, text: str) -> None:
        """Show a text in the line."""
        self._label.set_text(harmless(text))

    def stop(self) -> None:
        """Stop the job that runs."""
        if self._worker is not None:
            self._worker.stop(again=False)

    async def result(self, what: str, job: str, *arguments: Any) -> Any:
        """Last result of a job; None where it failed or was stopped, with the reason in the line.

        Parameters
        ----------
        what : str
            Shown while it runs.
        job : str
            Function of `winchsim.page.jobs`.
        """
        self.stop()
        worker = self._worker = self.tab.site.worker()
        self.tell(what)
        self._stop.set_visibility(True)
        result, trouble = None, ""
        try:
            async with aclosing(worker.run(job, *arguments)) as results:
                async for found in results:
                    result = found
        except (WinchsimError, StoppedError, WorkerError) as error:
            trouble = fault_text(error)
        worker.stop(again=False)
        if worker is self._worker:
            self._worker = None
            self.tell(trouble)
            self._stop.set_visibility(False)
        return result

    async def fill(
        self, box: Any, draw: Callable[[Any], Any], what: str, job: str, *arguments: Any
    ) -> None:
        """Draw the last result of a job in a box, in place of what is there; otherwise as
        `result`."""
        found = await self.result(what, job, *arguments)
        if found is not None:
            box.clear()
            with box:
                draw(found)
