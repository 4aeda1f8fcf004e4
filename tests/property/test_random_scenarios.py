"""Random scenarios over the whole space that the reader lets through; ``tests/fuzz.py`` runs
thousands of them."""

import fuzz
import pytest

pytestmark = pytest.mark.slow


@pytest.mark.parametrize("seed", [*range(7000, 7030), *range(100_000, 100_016)])
def test_a_random_scenario_ends_with_a_sound_record_or_is_refused(seed):
    _, went, _ = fuzz.check(seed)
    assert went.partition(":")[0] in fuzz.ENDS


@pytest.mark.parametrize(
    "seed",
    [
        pytest.param(
            33801, id="creeps to its balance in a guide whose losses at rest are those of motion"
        ),
        pytest.param(10225, id="a drum that creeps to its balance"),
        pytest.param(81760, id="a drum let go by its train that the brake just holds"),
        pytest.param(
            80551, id="breaks as the drum starts, with all it has not yet lifted to be held against"
        ),
        pytest.param(
            70038, id="breaks before anything has moved: energies of nothing but rounding errors"
        ),
        pytest.param(100436, id="a controller that drives against a load on its way down"),
        pytest.param(
            32671,
            id="little energy beside the load's: the balance needs a tighter tolerance than most",
        ),
        pytest.param(100892, id="a limit below what the supply folds back to"),
        pytest.param(101220, id="folds back at the start of a ramp while the load drives"),
        pytest.param(200224, id="a worm pushed down, and a tackle that sticks at rest"),
        pytest.param(204959, id="motors that pull next to nothing of the load on a stiff rope"),
        pytest.param(213439, id="a bounce in a guide, settled from a rope that was stretched more"),
        pytest.param(203273, id="a drum that creeps back as its stalled motors fade"),
        pytest.param(213707, id="runs back by less than its motors' free speed lets see"),
        pytest.param(211828, id="unwinds under a load that the motors hardly stirred"),
        pytest.param(213872, id="a drum that sticks and slips as the voltage rises"),
        pytest.param(610016, id="a battery's limit of a voltage that its resistance eats up"),
    ],
)
def test_what_once_failed_ends_soundly(seed):
    assert fuzz.check(seed)[1] == "ok"


@pytest.mark.parametrize(
    "seed",
    [
        pytest.param(700011, id="a spread of a programme that does not raise"),
        pytest.param(700026, id="gears of which other shafts have bearings of their own"),
        pytest.param(
            810026, id="a spread of a supply that trips in a programme that does not raise"
        ),
        pytest.param(800000, id="a winding that the quick model leaves at the ambient temperature"),
    ],
)
def test_studies_that_once_failed_end_soundly(seed):
    assert fuzz.check_studies(seed)[1] == "ok"
