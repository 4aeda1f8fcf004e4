"""Runs of the small winch, each made once."""

import json
from collections.abc import Callable

import pytest

from winchsim.assessment.findings import find
from winchsim.assessment.history import History, read_history
from winchsim.assessment.kinds import Finding, FindingKind
from winchsim.simulation import Record, simulate


class Ran:
    """One run with everything that is read from it."""

    def __init__(self, record: Record) -> None:
        self.record = record
        self.history: History = read_history(record)
        self.findings: tuple[Finding, ...] = tuple(find(self.history))

    def has(self, kind: FindingKind) -> bool:
        """Whether it has a finding of a kind."""
        return any(finding.kind is kind for finding in self.findings)

    def one(self, kind: FindingKind) -> Finding:
        """The only finding of a kind."""
        found = [finding for finding in self.findings if finding.kind is kind]
        assert len(found) == 1, (kind, [finding.kind.value for finding in self.findings])
        return found[0]


@pytest.fixture(scope="session")
def ran(small) -> Callable[..., Ran]:
    """Maker of a run of the small winch with parts changed."""
    kept: dict[str, Ran] = {}

    def make(**parts) -> Ran:
        name = json.dumps(parts, default=repr, sort_keys=True)
        if name not in kept:
            kept[name] = Ran(simulate(small(**parts)))
        return kept[name]

    return make
