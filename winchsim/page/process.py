"""Worker processes of the tabs: started ahead, fed with jobs, killed to stop one."""

import asyncio
import multiprocessing
import os
from collections.abc import AsyncGenerator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

from winchsim.errors import WinchsimError
from winchsim.page.worker import BROKEN, FAULT, PART, main

_SPAWN = multiprocessing.get_context("spawn")

_READERS = ThreadPoolExecutor(64)
"""Threads that wait for messages, which may arrive in pieces."""


class StoppedError(Exception):
    """The worker was killed before its job was done."""


class WorkerError(Exception):
    """A job failed by a fault of ours; its text is the traceback."""


class Worker:
    """One process that does one job at a time. `stop` kills it; the next job starts a new one."""

    def __init__(self) -> None:
        self.busy = False
        self._process: Any = None

    def start(self) -> None:
        """Start the process ahead of its first job."""
        os.environ.update(OPENBLAS_NUM_THREADS="1", OMP_NUM_THREADS="1")  # inherited
        self._pipe, theirs = _SPAWN.Pipe()
        self._process = _SPAWN.Process(target=main, args=(theirs,), daemon=True)
        self._process.start()
        theirs.close()

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
        if self._process is None or not self._process.is_alive():
            self.start()
        pipe, self.busy = self._pipe, True
        loop = asyncio.get_running_loop()
        try:
            await loop.run_in_executor(_READERS, pipe.send, (job, arguments))
            while (message := await loop.run_in_executor(_READERS, pipe.recv))[0] == PART:
                yield message[1]
            self.busy = False
        except (EOFError, OSError) as error:
            raise StoppedError("Stopped.") from error
        finally:
            if self.busy and pipe is self._pipe:  # left in the middle: nobody wants its results
                self.stop()
        kind, found = message
        if kind == FAULT and isinstance(found, WinchsimError):
            raise found
        if kind == BROKEN:
            raise WorkerError(found)

    def stop(self, *, again: bool = True) -> None:
        """Kill the process, and start a new one in its place unless nothing is to follow."""
        if self._process is not None:
            self._process.kill()
        self.busy = False
        if again:
            self.start()
