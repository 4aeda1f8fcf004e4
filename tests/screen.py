"""A command line of winchsim whose streams can be read afterwards."""

from __future__ import annotations

import io

from winchsim import cli
from winchsim.commands.call import Env


class Screen:
    """Streams and exit code of the commands that are run on it; options of `Env`."""

    def __init__(self, **options) -> None:
        self.env = Env(io.StringIO(), io.StringIO(), **options)
        self.code: int | None = None

    def run(self, *arguments: str) -> Screen:
        """Run a command."""
        self.code = cli.main(list(arguments), self.env)
        return self

    @property
    def out(self) -> str:
        """What was printed so far."""
        return self.env.stdout.getvalue()

    @property
    def err(self) -> str:
        """What was told on the error stream so far."""
        return self.env.stderr.getvalue()


def run(*arguments: str) -> tuple[int | None, str, str]:
    """Exit code, output and errors of a command line."""
    done = Screen().run(*arguments)
    return done.code, done.out, done.err
