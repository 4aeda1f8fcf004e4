"""The collector that gathers all that is wrong with an input before anything is raised, and the
lines on which it stands."""

import itertools
from dataclasses import field
from typing import Any

from winchsim.errors import Code, Fault, InputError
from winchsim.frozen import dataclass, replace

MAX_FAULTS = 100
"""Faults that are gathered before the reader gives up: a file with more is not a scenario."""

_MAX_LINE_TEXT = 160


@dataclass(frozen=True)
class LineIndex:
    """Lines of the paths of one file.

    Attributes
    ----------
    lines : tuple of str
        The file, line by line.
    where : dict of str to int
        Line, from 1, on which a path first stands. Entries of lists are counted from 1.
    """

    lines: tuple[str, ...] = ()
    where: dict[str, int] = field(default_factory=dict)

    def line(self, path: str) -> int | None:
        """Line of a path, or of the table around it; None when neither stands in the file."""
        while path and path not in self.where:
            path = path.rpartition(".")[0]
        return self.where.get(path)

    def text(self, line: int | None) -> str:
        """Text of a line; empty without one."""
        return self.lines[line - 1] if line is not None and 0 < line <= len(self.lines) else ""


@dataclass
class Collector:
    """Faults of one input, each completed with its line and what stands there.

    Attributes
    ----------
    file : str
        Name of the input as the user typed it.
    index : LineIndex
        Where each path stands.
    origins : dict of str to str
        Paths that came from an option instead of the file, with the option's text.
    """

    file: str
    index: LineIndex = field(default_factory=LineIndex)
    origins: dict[str, str] = field(default_factory=dict)
    faults: list[Fault] = field(default_factory=list)

    @property
    def full(self) -> bool:
        """Whether enough has been found to stop looking."""
        return len(self.faults) >= MAX_FAULTS

    def add(self, fault: Fault, key: str | None = None) -> None:
        """Note a fault; its file and line are filled in from its key."""
        key = fault.key if key is None else key
        origin, line = self._origin(key), fault.line or self.index.line(key)
        place: dict[str, Any] = {"file": "--set", "line_text": origin}
        if origin is None:
            place = dict(file=self.file, line=line, line_text=shortened(self.index.text(line)))
        if not self.full:
            self.faults.append(replace(fault, key=key, **place))

    def has_fault_in(self, table: str) -> bool:
        """Whether this table or one of its keys already has a fault."""
        return any(table in (fault.key, fault.key.rpartition(".")[0]) for fault in self.faults)

    def raise_if_any(self) -> None:
        """Raise all that was gathered, where there is at least one fault."""
        if self.faults:
            raise self.error()

    def error(self, *last: Fault) -> InputError:
        """All that was gathered, with a last fault, in the order of the lines."""
        for fault in last:
            self.add(fault)
        faults = sorted(self.faults, key=lambda fault: (fault.line is None, fault.line or 0))
        if self.full:
            faults.append(
                Fault(
                    "more problems may follow; only the first are listed", file=self.file,
                    code=Code.MORE,
                )
            )  # fmt: skip
        return InputError(tuple(faults))

    def _origin(self, key: str) -> str | None:
        """Text of the option that set a path, or a table around it, or that made its table where
        the file has none."""
        tables = list(itertools.accumulate(key.split("."), "{}.{}".format))
        found = [self.origins[path] for path in tables if path in self.origins]
        if not found and tables[1:] and self.index.line(key) is None:
            found = [text for p, text in self.origins.items() if p.startswith(f"{tables[-2]}.")]
        return found[-1] if found else None


def shortened(text: str, limit: int = _MAX_LINE_TEXT) -> str:
    """Text cut to a length that fits a message."""
    return text if len(text) <= limit else text[: limit - 3] + "..."
