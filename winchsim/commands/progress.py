"""A line on the terminal that says how far a long calculation is."""

from collections.abc import Callable, Iterator
from contextlib import contextmanager

from winchsim.commands.env import Env

QUIET_FOR = 1.0
"""Nothing is shown before this time. [s]"""


@contextmanager
def progress(env: Env, what: str) -> Iterator[Callable[[int, int], None]]:
    """Shows ``what: 3 of 8`` on standard error while that is a terminal, and clears the line at the
    end.

    Parameters
    ----------
    env : Env
    what : str
        What is counted.

    Yields
    ------
    callable
        To be told how many are done, and of how many.
    """
    begun, width = env.clock(), 0

    def tell(done: int, total: int) -> None:
        nonlocal width
        passed = env.clock() - begun
        left = f", about {passed / done * (total - done):.0f} s left" if 0 < done < total else ""
        text = f"{what}: {done} of {total}{left}"
        if env.stderr_is_terminal and passed >= QUIET_FOR:
            env.show("\r" + text.ljust(width))
            width = max(width, len(text))

    try:
        yield tell
    finally:
        if width:
            env.show("\r" + " " * width + "\r")
