"""Worker processes of the tabs: started ahead, fed with jobs, killed to stop one."""

from __future__ import annotations

import asyncio
import contextlib
import os
import subprocess
import sys
import threading
from collections.abc import AsyncGenerator
from typing import Any

from winchsim.errors import WinchsimError
from winchsim.page.worker import BROKEN, FAULT, PART, receive, send


class StoppedError(Exception):
    """The worker was killed before its job was done."""


class BrokenError(Exception):
    """A job failed by a fault of ours; its text is the traceback."""


class Worker:
    """One process that does one job at a time. `stop` kills it; the next job starts a new one."""

    def __init__(self) -> None:
        self.busy = False
        self._start()

    def _start(self) -> None:
        self._fresh = True
        self._process = subprocess.Popen(
            [sys.executable, "-m", "winchsim.page.worker"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            start_new_session=True,  # an interrupt of the terminal is for the server alone
            env=os.environ | {"OPENBLAS_NUM_THREADS": "1", "OMP_NUM_THREADS": "1"},
        )

    async def run(self, job: str, *arguments: Any) -> AsyncGenerator[Any, None]:
        """Results of a job, one by one.

        Raises
        ------
        WinchsimError
            The job raised it.
        StoppedError
            The worker was stopped.
        BrokenError
            A fault of winchsim itself.
        """
        if self._process.poll() is not None:
            self._start()
        process, self.busy = self._process, True
        try:
            if self._fresh:
                await _next(process)
                self._fresh = False
            send(process.stdin, (job, arguments))  # type: ignore[arg-type]
            while (message := await _next(process))[0] == PART:
                yield message[1]
            self.busy = False
        except (EOFError, OSError) as error:
            raise StoppedError from error
        finally:
            if (
                self.busy and process is self._process
            ):  # left in the middle: its results are not wanted
                self.stop()
        kind, found = message
        if kind == FAULT and isinstance(found, WinchsimError):
            raise found
        if kind == BROKEN:
            raise BrokenError(found)

    def stop(self, *, again: bool = True) -> None:
        """Kill the process, and start a new one in its place unless nothing is to follow."""
        process, self.busy = self._process, False
        process.kill()
        threading.Thread(target=_buried, args=(process,), daemon=True).start()
        if again:
            self._start()


def _buried(process: subprocess.Popen[bytes]) -> None:
    process.wait()
    for stream in (process.stdin, process.stdout):
        with contextlib.suppress(OSError, ValueError):
            stream.close()  # type: ignore[union-attr]


async def _next(process: subprocess.Popen[bytes]) -> Any:
    """Next message, read by a thread of its own: a message may arrive in pieces."""
    loop = asyncio.get_running_loop()
    future: asyncio.Future[Any] = loop.create_future()

    def read() -> None:
        try:
            found, error = receive(process.stdout), None  # type: ignore[arg-type]
        except Exception as raised:
            found, error = None, raised
        with contextlib.suppress(RuntimeError):  # the loop has ended
            loop.call_soon_threadsafe(_settle, future, found, error)

    threading.Thread(target=read, daemon=True).start()
    return await future


def _settle(future: asyncio.Future[Any], found: Any, error: Exception | None) -> None:
    if future.done():
        return
    if error is None:
        future.set_result(found)
    else:
        future.set_exception(error if isinstance(error, (EOFError, OSError)) else EOFError())
