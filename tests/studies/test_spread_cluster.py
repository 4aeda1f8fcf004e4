"""Builds lifted on a distributed scheduler's own executor: the optional extra ``cluster``."""

import numpy as np
import pytest

from winchsim.studies.spread import spread
from winchsim.studies.spread.outcomes import CHUNK

pytestmark = pytest.mark.slow


@pytest.fixture(scope="module")
def client():
    """A scheduler with two workers on this machine."""
    try:
        from distributed import Client, LocalCluster
    except ImportError:
        pytest.skip("distributed is not installed: pip install winchsim[cluster]")
    with (
        LocalCluster(
            n_workers=2, threads_per_worker=1, processes=False, dashboard_address=None
        ) as cluster,
        Client(cluster) as client,
    ):
        yield client


@pytest.mark.filterwarnings("ignore")  # of the scheduler's own dependencies
def test_a_scheduler_gives_the_same_numbers_as_this_process(small, client):
    inputs = small()
    here = spread(inputs, builds=2 * CHUNK + 3, random_seed=6)
    there = spread(inputs, builds=2 * CHUNK + 3, random_seed=6, executor=client.get_executor())
    assert there.complete
    assert np.array_equal(here.outcomes.time, there.outcomes.time, equal_nan=True)
    assert np.array_equal(here.outcomes.torques, there.outcomes.torques, equal_nan=True)
    assert there.probabilities == here.probabilities
