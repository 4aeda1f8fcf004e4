"""A switched problem built from a table of modes, for tests that need no physics."""

import math
from collections.abc import Callable, Hashable
from dataclasses import dataclass, field

import pytest

from winchsim.hybrid import Guard, Mode, Switch


@dataclass
class TableProblem:
    """Modes by key, a switch function, and a progress that stands still unless given."""

    modes: dict[Hashable, Mode]
    on_switch: Callable
    on_progress: Callable = lambda t, y: (0.0,)
    calls: list[tuple[Hashable, tuple[str, ...], float]] = field(default_factory=list)

    def mode(self, key):
        return self.modes[key]

    def switch(self, key, fired, t, y):
        self.calls.append((key, fired, t))
        return self.on_switch(key, fired, t, y)

    def progress(self, t, y):
        return self.on_progress(t, y)


@pytest.fixture
def make_problem():
    """Builds a problem of one mode "go" (more through `modes`) that stops at the first switch
    unless told otherwise."""

    def make(rhs, guards=None, *, band=1e-9, until=math.inf, switch=None, progress=None, modes=()):
        guards = guards or {}
        functions = tuple(guards.values())
        names = tuple(name if isinstance(name, Guard) else Guard(name, band) for name in guards)
        mode = Mode("go", rhs, names, lambda t, y: tuple(f(t, y) for f in functions), until)
        table = {mode.key: mode for mode in (mode, *modes)}
        stop = switch or (lambda key, fired, t, y: Switch(None, y))
        return TableProblem(table, stop, progress or (lambda t, y: (0.0,)))

    return make
