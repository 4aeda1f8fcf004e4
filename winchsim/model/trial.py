"""A scenario as it is tried: one raise to the top, with the load, height, voltage and warmth that a
test had."""

from collections.abc import Mapping

from winchsim.frozen import replace
from winchsim.inputs import Inputs, Phase, with_values

UNLOADED = 1e-4
"""Load of an unloaded run in the computation, as a share of the scenario's. [-]"""


def first_raise(inputs: Inputs) -> Phase:
    """First phase of a scenario's programme that raises the load; where none does, a raise to the
    top."""
    return next(
        (phase for phase in inputs.phase if phase.action == "raise"),
        Phase(action="raise", until="top"),
    )


def plain_raise(inputs: Inputs) -> Inputs:
    """Scenario whose programme is a raise with the power off after it, at what its first raise
    says."""
    step = first_raise(inputs)
    own = {"supply.voltage": step.voltage, "supply.current_limit": step.current_limit}
    given = {path: value for path, value in own.items() if value is not None}
    return with_values(replace(inputs, phase=()), given)


def trial_values(
    inputs: Inputs,
    *,
    mass: float | None = None,
    height: float | None = None,
    voltage: float | None = None,
    winding_start: float | Mapping[int, float] | None = None,
) -> dict[str, float]:
    """What a test changes in a scenario: values by path, only those that it gives.

    Parameters
    ----------
    inputs : Inputs
        Gives the number of motor groups.
    mass, height, voltage : float, optional
        Load [kg], height lifted [m], supply voltage [V].
    winding_start : float or mapping of int to float, optional
        Winding temperature at the start: of all motors, or by motor group from 1. [°C]
    """
    each = range(1, len(inputs.motors) + 1)
    warm: Mapping[int, float | None] = (
        winding_start if isinstance(winding_start, Mapping) else dict.fromkeys(each, winding_start)
    )
    given = {"load.mass": mass, "load.height": height, "supply.voltage": voltage}
    given |= {f"motors.{number}.winding_start": value for number, value in warm.items()}
    return {path: value for path, value in given.items() if value is not None}
