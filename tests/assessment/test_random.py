"""Random builds: every assessment is whole, its ranges hold its values, and its values are JSON."""

import json

import pytest

from tests.random_scenarios import random_inputs
from winchsim import assess, simulate
from winchsim.assessment.kinds import Status
from winchsim.report.json_text import document, facts

pytestmark = pytest.mark.slow


@pytest.mark.parametrize(
    "seed", [*range(400, 408), *range(409, 412), 423, 427, 432, 434, *range(100_001, 100_011)]
)
def test_an_assessment_of_any_build_is_whole(seed):
    """Seed 403 has teeth on a drum that never turns."""
    found = assess(simulate(random_inputs(seed)), actions=False)
    assert json.loads(document(found=facts(found)))["found"]["trusted"] is found.trusted
    for check in found.checks:
        if check.low is not None:
            assert check.low <= check.value * (1 + 1e-9) + 1e-12
            assert check.high >= check.value * (1 - 1e-9) - 1e-12
    if found.jam is not None:
        assert found.jam.breaks is (bool(found.jam.parts) and found.jam.parts[0].dynamic < 1)
    assert found.trusted or found.status is Status.FAILS
