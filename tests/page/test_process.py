"""Workers: results in parts, faults in the words of the job, a stopped job, and no result of an
earlier one."""

import asyncio
from concurrent.futures import ThreadPoolExecutor
from contextlib import aclosing

import pytest

from winchsim.errors import InputError
from winchsim.face import parse as loads
from winchsim.page import jobs
from winchsim.page.process import StoppedError, Worker, WorkerError
from winchsim.page.state import with_text
from winchsim.scenario.starter import STARTER

INPUTS = loads(STARTER)
(FIRST,) = jobs.lift(INPUTS)
RUN = FIRST["run"]


def _run(job):
    """In a thread of its own: a browser's test may leave a running loop in this one."""
    with ThreadPoolExecutor(1) as own:
        return own.submit(asyncio.run, job).result()


@pytest.fixture
def worker():
    running = Worker()
    yield running
    running.stop(again=False)


async def everything(worker, job, *arguments):
    return [found async for found in worker.run(job, *arguments)]


def test_results_come_in_parts(worker):
    parts = _run(everything(worker, "thorough", RUN))
    assert len(parts) == 2 and not worker.busy
    assert parts[0]["actions"] == [] and parts[0]["body"] == parts[1]["body"]


def test_a_job_that_is_left_gives_nothing_to_the_next(worker):
    async def both():
        async with aclosing(worker.run("thorough", RUN)) as results:
            async for _ in results:
                break
        return await everything(worker, "lift", with_text(INPUTS, "load.mass", "1 kg"))

    (found,) = _run(both())
    assert "Lifts 1" in found["head"].replace("\N{NO-BREAK SPACE}", " ") and "svg" in found


def test_a_stopped_job_says_so_and_the_worker_goes_on(worker):
    async def stopped():
        task = asyncio.ensure_future(everything(worker, "thorough", RUN))
        while not worker.busy:
            await asyncio.sleep(0)
        worker.stop()
        with pytest.raises(StoppedError):
            await task
        return await everything(worker, "lift", INPUTS)

    assert len(_run(stopped())) == 1


def test_faults_keep_their_kind(worker):
    with pytest.raises(InputError):
        _run(everything(worker, "calibration", INPUTS, ()))
    with pytest.raises(WorkerError, match="AttributeError"):
        _run(everything(worker, "no_such_job"))
    with pytest.raises(WorkerError, match="lift"):
        _run(everything(worker, "lift", None, None))
