"""The process that computes for one tab: jobs come through a pipe, results leave through it.

It knows nothing of the page, so that it can be killed at any time. It ends when its pipe does.
"""

import contextlib
import signal
import traceback
from multiprocessing.connection import Connection

from winchsim.errors import WinchsimError

PART, DONE, FAULT, BROKEN = "part", "done", "fault", "broken"
"""What a message holds: a result, the end of a job, an error raised on purpose, a fault of ours."""


def main(pipe: Connection) -> None:
    """Do one job after the other: a function of `winchsim.page.jobs` by its name, and its
    arguments."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)  # an interrupt is for the server alone
    from winchsim.page import jobs

    with contextlib.suppress(EOFError, OSError):
        while True:
            name, arguments = pipe.recv()
            try:
                for found in getattr(jobs, name)(*arguments):
                    pipe.send((PART, found))
                pipe.send((DONE, None))
            except WinchsimError as error:
                pipe.send((FAULT, error))
            except Exception:
                pipe.send((BROKEN, traceback.format_exc()))
