"""The process that computes for one tab: jobs come on standard input, results leave on standard
output.

It knows nothing of the page, so that it can be killed at any time. It ends when its input ends.
"""

from __future__ import annotations

import os
import pickle
import struct
import sys
import traceback
from importlib import import_module
from typing import Any, BinaryIO

HEAD = struct.Struct(">Q")
"""Length of the message behind it. [bytes]"""

PART, DONE, FAULT, BROKEN = "part", "done", "fault", "broken"
"""What a message holds: a result, the end of a job, an error raised on purpose, a fault of ours."""


def send(stream: BinaryIO, message: Any) -> None:
    """Write one message."""
    data = pickle.dumps(message, protocol=pickle.HIGHEST_PROTOCOL)
    stream.write(HEAD.pack(len(data)) + data)
    stream.flush()


def receive(stream: BinaryIO) -> Any:
    """Next message.

    Raises
    ------
    EOFError
        The other side has gone.
    """
    return pickle.loads(_exactly(stream, HEAD.unpack(_exactly(stream, HEAD.size))[0]))


def _exactly(stream: BinaryIO, count: int) -> bytes:
    data = stream.read(count)
    if len(data) < count:
        raise EOFError
    return data


def main() -> None:
    """Do one job after the other: a function of `winchsim.page.jobs` by its name, and its
    arguments."""
    to, source = os.fdopen(os.dup(1), "wb"), sys.stdin.buffer
    os.dup2(2, 1)  # nothing that a library prints may come between the messages
    jobs = import_module("winchsim.page.jobs")
    errors = import_module("winchsim.errors")
    send(to, (DONE, None))
    while True:
        try:
            name, arguments = receive(source)
        except EOFError:
            return
        try:
            for found in getattr(jobs, name)(*arguments):
                send(to, (PART, found))
            send(to, (DONE, None))
        except errors.WinchsimError as error:
            send(to, (FAULT, error))
        except Exception:
            send(to, (BROKEN, traceback.format_exc()))


if __name__ == "__main__":
    main()
