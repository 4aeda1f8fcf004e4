"""The collector that gathers all that is wrong with an input before anything is raised."""

from __future__ import annotations

from dataclasses import replace

from winchsim.errors import Code, Fault, InputError
from winchsim.scenario.lines import LineIndex

MAX_FAULTS = 100
"""Faults that are gathered before the reader gives up: a file with more is not a scenario."""

_MAX_LINE_TEXT = 160


class Collector:
    """Faults of one input, each completed with its line and what stands there.

    Parameters
    ----------
    file : str
        Name of the input as the user typed it.
    index : LineIndex
        Where each path stands.
    origins : dict of str to str
        Paths that came from an option instead of the file, with the option's text.
    """

    def __init__(self, file: str, index: LineIndex, origins: dict[str, str] | None = None) -> None:
        self.file = file
        self.index = index
        self.origins = origins or {}
        self.faults: list[Fault] = []

    @property
    def full(self) -> bool:
        """Whether enough has been found to stop looking."""
        return len(self.faults) >= MAX_FAULTS

    def add(self, fault: Fault, key: str | None = None) -> None:
        """Note a fault; its file and line are filled in from its key."""
        if self.full:
            return
        key = fault.key if key is None else key
        origin = self._origin(key)
        if origin is not None:
            self.faults.append(replace(fault, key=key, file="--set", line_text=origin))
            return
        line = fault.line if fault.line is not None else self.index.line(key)
        self.faults.append(
            replace(
                fault,
                key=key,
                file=self.file,
                line=line,
                line_text=shortened(self.index.text(line)),
            )
        )

    def add_from(self, error: InputError, key: str) -> None:
        """Note the faults that reading one value raised."""
        for fault in error.faults:
            self.add(fault, key)

    def has_fault_in(self, table: str) -> bool:
        """Whether this table or one of its keys already has a fault."""
        return any(table in (fault.key, fault.key.rpartition(".")[0]) for fault in self.faults)

    def raise_if_any(self) -> None:
        """Raise all that was gathered, in the order of the lines.

        Raises
        ------
        InputError
            There is at least one fault.
        """
        if not self.faults:
            return
        faults = sorted(self.faults, key=lambda fault: (fault.line is None, fault.line or 0))
        if self.full:
            faults.append(
                Fault(
                    "more problems may follow; only the first are listed",
                    file=self.file,
                    code=Code.MORE,
                )
            )
        raise InputError(tuple(faults))

    def _origin(self, key: str) -> str | None:
        """Text of the option that set a path, or a table around it, or that made its table where
        the file has none."""
        path = key
        while path:
            if path in self.origins:
                return self.origins[path]
            path = path.rpartition(".")[0]
        table = key.rpartition(".")[0]
        if table and self.index.line(key) is None:
            return next(
                (text for path, text in self.origins.items() if path.startswith(f"{table}.")), None
            )
        return None


def shortened(text: str, limit: int = _MAX_LINE_TEXT) -> str:
    """Text cut to a length that fits a message."""
    return text if len(text) <= limit else text[: limit - 3] + "..."
