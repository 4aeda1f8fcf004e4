"""The first screen of every shipped scenario: its size, and an answer to what a reader asks."""

import pytest
from shipped import SCENARIOS

from winchsim import assess, simulate
from winchsim.assessment.kinds import Status
from winchsim.report.lift import build
from winchsim.report.render.options import Options
from winchsim.report.render.text import render_text
from winchsim.report.words.values import CHECKS
from winchsim.scenario.read import read

STAYS = ("Power off:", "It stays on the floor.", "power on or off", "The load falls.")
"""What a first screen may say of the load with the power off."""


@pytest.mark.slow
@pytest.mark.parametrize("path", SCENARIOS, ids=lambda path: path.stem)
def test_the_first_screen_of_a_scenario(path):
    scenario = read(str(path), ())
    record = simulate(scenario.inputs)
    found = assess(record)
    document = build(found, scenario, record)
    for width in (60, 80, 120):
        lines = render_text(document, Options(width=width)).splitlines()
        assert max(map(len, lines)) <= width
        assert width < 80 or len(lines) <= 25
        text = " ".join(" ".join(lines).split())
        assert any(words in text for words in STAYS)
        assert "competent person decides" in text and "Keep the area below clear" in text
        assert ("thin: too little" in text) == (found.counts[Status.THIN] > 0)
        missing = {key for check in found.checks for key in check.missing}
        assert all(key in text for key in missing) and ("Not given:" in text) == bool(missing)
        if width >= 80:  # narrow tables break names
            assert "check value" in text and all(
                CHECKS[c.key] in text for c in found.checks if c.status is Status.THIN
            )
        assert found.status is Status.OK or "Actions" in text
        assert "weakest part" in text and "If it jams:" in text
