"""Which of several builds to take: one rule for every study."""

from __future__ import annotations

from collections.abc import Callable, Collection, Sequence

from winchsim.assessment.kinds import Assessment, CheckKey, Status


def changed_by(builds: Sequence[Assessment]) -> frozenset[CheckKey]:
    """Checks that a question can change: those that do not read alike in all its candidates.

    Parameters
    ----------
    builds : sequence of Assessment
    """
    readings: dict[CheckKey, set[tuple[float | None, Status]]] = {}
    for build in builds:
        for check in build.checks:
            readings.setdefault(check.key, set()).add((check.value, check.status))
    return frozenset(key for key, found in readings.items() if len(found) > 1)


def order_of(build: Assessment, keys: Collection[CheckKey]) -> tuple[int, int]:
    """Order of a build by the rule: whether a check fails, then how many thin ones can change.

    Parameters
    ----------
    build : Assessment
    keys : collection of CheckKey
        Checks that the question can change.
    """
    fails = build.exit_code != 0 or build.status is Status.FAILS
    return int(fails), sum(c.status is Status.THIN and c.key in keys for c in build.checks)


def choose(builds: Sequence[Assessment], aim: Callable[[int], float]) -> int | None:
    """Place of the build to take.

    Parameters
    ----------
    builds : sequence of Assessment
    aim : callable
        From a place to what the user wants least of: lift time, number of motors, mass.

    Returns
    -------
    int or None
        Never a build with a failing check where another has none; then the fewest thin checks that
        the question can change; then the least of the aim. None for no builds.
    """
    if not builds:
        return None
    keys = changed_by(builds)
    return min(range(len(builds)), key=lambda i: (*order_of(builds[i], keys), aim(i)))


def binding(build: Assessment, keys: Collection[CheckKey]) -> CheckKey | None:
    """The check that binds a build: the worst of those that the question can change; None for none.

    Parameters
    ----------
    build : Assessment
    keys : collection of CheckKey
    """
    found = [c for c in build.checks if c.key in keys and c.status in (Status.FAILS, Status.THIN)]
    return min(found, key=lambda check: check.status.rank).key if found else None
