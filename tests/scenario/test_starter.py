"""The starter scenario does what it promises when it is run."""

from winchsim import parse as loads, simulate
from winchsim.model import Event
from winchsim.scenario.starter import STARTER


def test_it_lifts_and_holds():
    inputs = loads(STARTER)
    record = simulate(inputs)
    events = [event.event for event in record.events]
    heights = next(
        channel.values for channel in record.channels.values() if channel.name == "height"
    )
    assert Event.TOP in events
    assert heights[-1] >= inputs.load.height
