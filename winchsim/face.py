"""What Python programs call: `winchsim` offers every public function of this module.

A scenario is what `read` returns, or the name of a file. Numbers are in SI, temperatures in °C. A
scenario that cannot be read or built raises `winchsim.errors.InputError` with every fault; an
argument outside its range `DomainError`; a run without a result that can be trusted `TrustError`.
All are `WinchsimError`.
"""

from __future__ import annotations

import os
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, TypeAlias

from winchsim.errors import DomainError, refuse_if
from winchsim.frozen import replace
from winchsim.inputs import Inputs
from winchsim.scenario import read as reader
from winchsim.scenario.change import values_of, with_value as changed
from winchsim.scenario.sheet import read_sheet

if TYPE_CHECKING:
    from matplotlib.figure import Figure

    from winchsim.assessment.kinds import Assessment
    from winchsim.record import Record
    from winchsim.studies.calibrate import Calibration, Note
    from winchsim.studies.choose import Choice
    from winchsim.studies.ladder import Ladder
    from winchsim.studies.sizing import Study
    from winchsim.studies.spread import Spread
    from winchsim.studies.sweep import Sweep
    from winchsim.studies.why import Diagnosis

Scenario: TypeAlias = "str | os.PathLike[str] | Inputs"


def read(path: str | os.PathLike[str], overrides: Sequence[str] = ()) -> Inputs:
    """Scenario of a TOML file, checked.

    Parameters
    ----------
    path : str or path
        UTF-8, at most 1 MB; ``-`` is standard input.
    overrides : sequence of str
        ``path=value`` texts as after ``--set``, checked like the file's own.

    Raises
    ------
    InputError
        With every fault found, each with its file, line and key.

    Examples
    --------
    >>> import winchsim
    >>> hoist = winchsim.read("scenarios/01-workshop-hoist.toml")
    >>> hoist.load.mass, hoist.load.height
    (12.0, 1.2)
    """
    return reader.read(os.fspath(path), overrides).inputs


def parse(text: str, name: str = "scenario", overrides: Sequence[str] = ()) -> Inputs:
    """Scenario of a TOML text; `name` is what its faults call it. Otherwise as `read`."""
    return reader.read_string(text, name, overrides).inputs


def with_value(scenario: Scenario, path: str, value: Any) -> Inputs:
    """Scenario with one value changed, checked like a file; the given one stays as it is.

    Parameters
    ----------
    scenario : Scenario
    path : str
        Such as ``load.mass`` or ``stage.3.walls``.
    value : object
        Number in SI (°C for temperatures), text as in a file (``"30 kg"``), a table, or None to
        take back what was given.

    Examples
    --------
    >>> import winchsim
    >>> winchsim.with_value("scenarios/01-workshop-hoist.toml", "load.mass", "22 lb").load.mass
    9.97903214
    """
    return changed(_inputs(scenario), path, value)


def simulate(
    scenario: Scenario,
    *,
    times: Sequence[float] | None = None,
    rtol: float | None = None,
    sampled: bool = False,
) -> Record:
    """Record of the lift of a scenario: channels as arrays, events, energy balance.

    Parameters
    ----------
    scenario : Scenario
    times : sequence of float, optional
        Times that are samples too, besides those of the integrator. [s]
    rtol : float, optional
        Relative tolerance of the integrator; left out, the scenario's. [-]
    sampled : bool
        Whether the record is also sampled at every ``settings.sample_step``.

    Returns
    -------
    Record
        ``record["height"]``: read-only array of shape (n,), as ``record.time``. [SI]

    Examples
    --------
    >>> import winchsim
    >>> record = winchsim.simulate("scenarios/01-workshop-hoist.toml")
    >>> record["height"].shape == record.time.shape
    True
    >>> f"{record['height'].max():.1f} m"
    '1.2 m'
    """
    from winchsim.simulation import simulate

    return simulate(_inputs(scenario), times=times, rtol=rtol, sampled=sampled)


def assess(record: Record, *, actions: bool = True, ranges: bool = True) -> Assessment:
    """Assessment of a run: status, checks with ranges, weakest parts, jam, actions.

    Parameters
    ----------
    record : Record
    actions : bool
        Whether to look for changes that help, each tried in full.
    ranges : bool
        Whether to work out what the assumed inputs leave open.

    Examples
    --------
    >>> import winchsim
    >>> record = winchsim.simulate("scenarios/03-theatre-flat-runs-back.toml")
    >>> str(winchsim.assess(record, actions=False).status)
    'fails'
    """
    from winchsim.assessment.evaluate import assess

    return assess(record, actions=actions, ranges=ranges)


def sweep(
    scenario: Scenario,
    values: Mapping[str, Sequence[Any]],
    *,
    simulate: bool = False,
    grid: bool = True,
    ranges: bool = True,
    executor: Any = None,
    workers: int | None = None,
) -> Sweep:
    """Builds of a scenario with other values of some keys.

    Parameters
    ----------
    scenario : Scenario
    values : Mapping of str to sequence
        By path: numbers in SI (°C for temperatures), or texts as in a file (``"30 kg"``).
    simulate : bool
        Whether each is simulated in full, instead of all at once by the quasi-static model.
    grid : bool
        Whether every value is combined with every other, the last key changing fastest; else the
        first values make one build, the second ones the next.
    ranges : bool
        Whether checks have the range of what is assumed.
    executor : Executor, optional
        Of concurrent.futures' kind, where full simulations run; left out, processes here.
    workers : int, optional
        How many of these; 1 for none.

    Examples
    --------
    >>> import winchsim
    >>> found = winchsim.sweep("scenarios/01-workshop-hoist.toml", {"load.mass": ["8 kg", "40 kg"]})
    >>> [row["end"] for row in found.rows()]
    ['reached', 'stalled']
    """
    from winchsim.studies.sweep import sweep

    inputs = _inputs(scenario)
    read_values = {path: values_of(inputs, path, given) for path, given in values.items()}
    more: dict[str, Any] = {"executor": executor, "workers": workers}
    return sweep(inputs, read_values, simulate=simulate, grid=grid, ranges=ranges, **more)


def size(scenario: Scenario, question: str, **options: Any) -> Study:
    """Which value of one thing to take.

    Parameters
    ----------
    scenario : Scenario
    question : str
        ``drum``, ``gears``, ``motors``, ``voltage`` or ``heaviest``.
    **options
        low, high: range to try; margin: required starting torque margin; target_time; fastest;
        group; inch; on_progress. [SI]

    Examples
    --------
    >>> import winchsim
    >>> study = winchsim.size("scenarios/01-workshop-hoist.toml", "motors", low=1, high=4)
    >>> study.recommended is not None
    True
    """
    from winchsim.studies.sizing import QUESTIONS, size

    refuse_if(question not in QUESTIONS, "question", question, f"one of {', '.join(QUESTIONS)}")
    return size(_inputs(scenario), question, **options)


def choose(scenario: Scenario, *, fastest: bool = False) -> Choice:
    """The best builds that the parts at hand allow, the best first.

    Parameters
    ----------
    scenario : Scenario
        With ``[[parts.gears]]``, ``[[parts.motors]]``, ``[[parts.drums]]`` or ``[[parts.ropes]]``.
    fastest : bool
        Whether of builds that are otherwise equal the fastest is taken, instead of the one with the
        most to spare to its nearest limit.

    Examples
    --------
    >>> import winchsim
    >>> found = winchsim.choose("scenarios/12-sail-from-parts.toml", fastest=True)
    >>> len(found.builds), found.exit_code
    (5, 0)
    """
    from winchsim.studies.choose import choose

    return choose(_inputs(scenario), fastest=fastest)


def ladder(scenario: Scenario, *, target: float | None = None, rungs: int = 5) -> Ladder:
    """Plan of test loads from an unloaded run to a target.

    Parameters
    ----------
    scenario : Scenario
    target : float, optional
        Load of the last rung; left out, the scenario's. [kg]
    rungs : int
        Loaded rungs, at least 1.

    Examples
    --------
    >>> import winchsim
    >>> plan = winchsim.ladder("scenarios/01-workshop-hoist.toml", rungs=2)
    >>> [rung.mass for rung in plan.rungs][0], plan.rungs[-1].mass
    (0.0, 12.0)
    """
    from winchsim.studies.ladder import plan_ladder

    return plan_ladder(_inputs(scenario), target=target, rungs=rungs)


def calibrate(
    scenario: Scenario,
    sheet: str | os.PathLike[str],
    *,
    only: Sequence[str] = (),
    level: float = 0.9,
) -> Calibration:
    """Calibration of what a scenario assumes from a sheet of timed lifts.

    Parameters
    ----------
    scenario : Scenario
    sheet : str or path
        CSV as `ladder` plans it, filled in; rows without results are predicted.
    only : sequence of str
        Names of the factors to fit; left out: all.
    level : float
        Probability of the intervals, 0.5 to 0.999. [-]

    Examples
    --------
    >>> import winchsim
    >>> found = winchsim.calibrate(
    ...     "scenarios/08-bell-into-its-frame.toml", "scenarios/08-bell-rungs.csv"
    ... )
    >>> found.inputs.load.mass
    23.0
    """
    from winchsim.report.measured import lift_tests
    from winchsim.studies.calibrate import calibrate

    inputs = _inputs(scenario)
    rows = read_sheet(os.fspath(sheet))
    return calibrate(inputs, lift_tests(inputs, rows), only=only, level=level)


def why(
    scenario: Scenario, sheet: str | os.PathLike[str], row: int | None = None
) -> Diagnosis | Note:
    """Causes of a breakage, a stall or a run-back in a test, the likeliest first.

    Parameters
    ----------
    scenario : Scenario
    sheet : str or path
        CSV as `ladder` plans it, filled in.
    row : int, optional
        Which test, from 1; left out, the last one that broke, stalled or did not hold.

    Returns
    -------
    Diagnosis or Note
        A note with the parts that may be meant where that is not clear.

    Examples
    --------
    >>> import winchsim
    >>> found = winchsim.why(
    ...     "scenarios/13-gate-tooth.toml", "scenarios/13-gate-rungs.csv"
    ... )
    >>> str(found.reasons[0].cause)
    'jam'
    """
    from winchsim.report.measured import lift_tests
    from winchsim.studies.why import why

    inputs = _inputs(scenario)
    return why(inputs, lift_tests(inputs, read_sheet(os.fspath(sheet))), row)


def spread(
    scenario: Scenario, *, builds: int = 1000, random_seed: int = 1, **options: Any
) -> Spread:
    """Many builds with the differences that parts have: what fails how often, what matters.

    Parameters
    ----------
    scenario : Scenario
        Its ``[[tolerance]]`` tables count.
    builds : int
        At least 10.
    random_seed : int
        At least 0; the same seed gives the same builds.
    **options
        level: probability of the intervals; simulated: full simulations; executor; on_progress.

    Examples
    --------
    >>> import winchsim
    >>> found = winchsim.spread("scenarios/01-workshop-hoist.toml", builds=50)
    >>> len(found.outcomes)
    50
    """
    from winchsim.studies.spread import spread

    inputs = _inputs(scenario)
    given = [(t.path, reader.tolerance_width(inputs, t), t.shape) for t in inputs.tolerance]
    return spread(inputs, given, builds=builds, random_seed=random_seed, **options)


def figure(record: Record, name: str, *, us: bool = False) -> Figure | None:
    """One figure of a record, to be shown or changed with matplotlib.

    Parameters
    ----------
    record : Record
    name : str
        Such as ``energy`` or ``height-and-speed``; another name raises with those that there are.
    us : bool
        Whether axes are in US units.

    Returns
    -------
    Figure or None
        None where there is nothing to draw, such as teeth of a winch without gears.

    Examples
    --------
    >>> import winchsim
    >>> record = winchsim.simulate("scenarios/01-workshop-hoist.toml")
    >>> len(winchsim.figure(record, "height-and-speed").axes) > 1
    True
    """
    from winchsim.report.figures.catalogue import figure
    from winchsim.report.figures.look import COLUMN

    return figure(record, name, replace(COLUMN, us=us))


def with_units(record: Record, name: str) -> Any:
    """Values of a channel as a pint quantity: an array of shape (n,) in SI (°C for temperatures).

    Parameters
    ----------
    record : Record
    name : str
        Of the channel, such as ``height`` or ``tension``; ``time`` for the times of the samples.

    Raises
    ------
    KeyError
        The record has no such channel.

    Examples
    --------
    >>> import winchsim
    >>> record = winchsim.simulate("scenarios/01-workshop-hoist.toml")
    >>> f"{winchsim.with_units(record, 'height').to('foot').max():.1f}"
    '4.0 foot'
    """
    from winchsim.units import to_pint

    if name == "time":
        return to_pint(record.time, "s")
    channel = record.channels[name]
    return to_pint(channel.values, channel.unit)


def _inputs(scenario: Scenario) -> Inputs:
    if isinstance(scenario, Inputs):
        return scenario
    if not isinstance(scenario, (str, os.PathLike)):
        raise DomainError("scenario", scenario, "the name of a file, or what winchsim.read returns")
    return read(scenario)
