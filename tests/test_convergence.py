"""Digits that are printed are digits that the integrator gives: other tolerances, and other
samples, change nothing of them."""

import dataclasses
import re
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
import pytest

import winchsim
from winchsim.assessment.evaluate import assess
from winchsim.assessment.kinds import Assessment, CheckKey, ReadingKey
from winchsim.inputs import with_value
from winchsim.model import Event
from winchsim.report.bundle import record_csv
from winchsim.report.lift import build
from winchsim.report.render.options import Options
from winchsim.report.render.text import render_text
from winchsim.scenario.read import Scenario
from winchsim.simulation import RELATIVE_TOLERANCE, Record, simulate
from winchsim.slow import lift_all
from winchsim.slow.path import HANGING_CELLS, TAKE_UP_CELLS
from winchsim.studies.sizing import size

pytestmark = pytest.mark.slow

SCENARIOS = sorted((Path(__file__).resolve().parents[1] / "scenarios").glob("*.toml"))

SHARES = {10.0: False, 0.5: True, 0.25: False}
"""Shares of the usual tolerance, and whether remedies are looked for too, which takes many runs."""

STRAY = 2e-3
"""Share of a quantity's range by which it may stray from the line between two samples. [-]"""

STRAY_AT_CORNERS = 0.02
"""The same for a tooth force, whose absolute value has a corner where it turns over. [-]"""

BOUNCE_LEFT = 1e-2
"""The same of what the last of a bounce makes of it, which one run may still ride while the other
has settled. [-]"""

LOOSE = 2.5
"""Units of the last digit that a detail may move by at ten times the usual tolerance: a late
bounce, or a thousandth of the energy account, printed to three digits like all the rest. [-]"""

FIRST_SCREEN = 25
"""Lines whose numbers move by one unit at most at that tolerance too. [-]"""

_TOLERANCE = "settings.relative_tolerance"

_NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")

each_scenario = pytest.mark.parametrize("path", SCENARIOS, ids=[path.stem for path in SCENARIOS])


@dataclass(frozen=True)
class Printed:
    """A run, its assessment, and the report."""

    record: Record
    found: Assessment
    text: str


def _report(record: Record, path: Path, assessed: Assessment) -> str:
    """The report but for the two numbers that a tolerance moves by its nature: itself and the
    energy balance error."""
    scenario = Scenario(
        with_value(record.inputs, _TOLERANCE, RELATIVE_TOLERANCE), path.name, "", ""
    )
    kept = tuple(check for check in assessed.checks if check.key is not CheckKey.ENERGY)
    document = build(dataclasses.replace(assessed, checks=kept, energy_error=0.0), scenario, record)
    return render_text(document, Options(full=True))


@cache
def printed(path: Path, share: float = 1.0, remedies: bool = True) -> Printed:
    """The report of a shipped scenario at a share of the usual tolerance."""
    record = simulate(with_value(winchsim.read(path), _TOLERANCE, share * RELATIVE_TOLERANCE))
    assert record.energy.closes
    assessed = assess(record, actions=remedies)
    return Printed(record, assessed, _report(record, path, assessed))


@cache
def exact(path: Path) -> Record:
    """A shipped scenario ten thousand times as tight as usual, sampled at `even_times` too."""
    return simulate(winchsim.read(path), times=even_times(path), rtol=1e-4 * RELATIVE_TOLERANCE)


def even_times(path: Path) -> np.ndarray:
    """Two hundred times of a shipped scenario's run."""
    return np.linspace(0.0, printed(path, 1.0, False).record.time[-1], 202)[1:-1]


# --- tolerance


@each_scenario
@pytest.mark.parametrize("share", SHARES)
def test_printed_text_differs_by_one_in_a_last_digit_at_most(path, share):
    """And no word of it."""
    texts = [printed(path, part, SHARES[share]).text for part in (1.0, share)]
    words = [_NUMBER.sub("#", text).split() for text in texts]
    assert words[0] == words[1]
    usual, other = (_NUMBER.findall(text) for text in texts)
    first = len(_NUMBER.findall("".join(texts[0].splitlines(keepends=True)[:FIRST_SCREEN])))
    assert len(usual) == len(other) > first > 20
    for k, (one, two) in enumerate(zip(usual, other, strict=True)):
        units = LOOSE if share > 1.0 and k >= first else 1.01
        assert abs(float(one) - float(two)) <= units * _last_digit(one), f"{one} becomes {two}"


def _last_digit(text: str) -> float:
    """Unit of the last digit of a printed number; noughts before the point are taken as digits of
    their own."""
    mantissa, _, power = text.partition("e")
    return 10.0 ** (int(power or 0) - len(mantissa.partition(".")[2]))


@each_scenario
def test_the_answer_is_that_of_a_run_ten_thousand_times_as_tight(path):
    """Not only near each other: lift time, peaks and events are those of a tolerance that leaves no
    error to see."""
    usual = printed(path, 1.0, False)
    found, true = usual.found, assess(exact(path), actions=False, ranges=False)
    tolerances = {
        CheckKey.LIFT_TIME: 1e-5,
        CheckKey.WINDING: 3e-5,
        ReadingKey.SPEED: 1e-5,
        ReadingKey.PEAK_TENSION: 3e-4,
        ReadingKey.PEAK_CURRENT: 1e-6,
        ReadingKey.ENERGY_IN: 3e-5,
    }
    for key, tolerance in tolerances.items():
        one, two = (each.check(key) or each.reading(key) for each in (found, true))
        assert (one is None) is (two is None)
        assert one is None or one.value == pytest.approx(two.value, rel=tolerance), key
    assert [demand.share for demand in usual.record.demands] == pytest.approx(
        [demand.share for demand in exact(path).demands], rel=3e-4
    )
    events, others = (_events(record) for record in (usual.record, exact(path)))
    assert [name for name, _ in events] == [name for name, _ in others]
    np.testing.assert_allclose(
        [time for _, time in events], [time for _, time in others], rtol=2e-5, atol=2e-4
    )


def _events(record: Record) -> list[tuple[str, float]]:
    """Events but those that nobody is told of: when a bounce has died away is a matter of taste."""
    return [((e.event, e.target), e.time) for e in record.events if e.event is not Event.SETTLED]


# --- the quasi-static model's steps


def _finer(monkeypatch) -> None:
    monkeypatch.setattr("winchsim.slow.path.TAKE_UP_CELLS", 2 * TAKE_UP_CELLS)
    monkeypatch.setattr("winchsim.slow.path.HANGING_CELLS", 2 * HANGING_CELLS)


@each_scenario
def test_slow_lifts_do_not_hang_on_the_quasi_static_model_s_steps(path, monkeypatch):
    inputs = winchsim.read(path)
    inputs = dataclasses.replace(inputs, load=dataclasses.replace(inputs.load, snag_height=None))
    masses = {"load.mass": inputs.load.mass * np.array([0.2, 0.35])}
    usual = lift_all(inputs, masses)
    _finer(monkeypatch)
    finer = lift_all(inputs, masses)
    assert np.all(usual.lifted) and np.all(finer.lifted)
    np.testing.assert_allclose(usual.lift_time, finer.lift_time, rtol=2e-4)
    np.testing.assert_allclose(usual.peak_winding, finer.peak_winding, rtol=5e-4)


@pytest.mark.parametrize(
    ("name", "question"),
    [("02-tender-stalls", "heaviest"), ("05-harvest-basket-on-a-battery", "drum")],
)
def test_what_a_study_recommends_does_not_hang_on_the_quasi_static_model_s_steps(
    name, question, monkeypatch
):
    """Near a stall too, where the windings' warmth decides."""
    inputs = winchsim.read(SCENARIOS[0].with_name(f"{name}.toml"))
    usual = size(inputs, question)
    _finer(monkeypatch)
    finer = size(inputs, question)
    assert usual.values[usual.recommended] == pytest.approx(
        finer.values[finer.recommended], rel=0.02
    )
    for study in (usual, finer):
        assert study.values[study.sweep.sound].max() == pytest.approx(
            usual.values[usual.sweep.sound].max(), rel=0.01
        )


# --- samples


@each_scenario
@pytest.mark.parametrize("step", [0.1, 10.0])
def test_peaks_demands_and_verdict_do_not_depend_on_the_sample_step(path, step):
    usual = printed(path, 1.0, False)
    record = simulate(with_value(winchsim.read(path), "settings.sample_step", step), sampled=True)
    assert record.demands == usual.record.demands
    assessed = assess(record, actions=False)
    assert assessed.checks == usual.found.checks
    assert _report(record, path, assessed).splitlines()[0] == usual.text.splitlines()[0]
    assert (
        len(record_csv(record).splitlines()[1:])
        <= len(record.sampled.time)
        <= record.time[-1] / step + 2 * len(record.segment_starts) + 1
    )


@each_scenario
def test_every_event_is_a_sample_on_both_of_its_sides_and_no_sample_lies_across_a_switch(path):
    """So nothing is drawn across one, and what jumps is told before and after the jump; on a coarse
    grid too. Stretches follow each other without a gap, one mode each, and times grow strictly
    inside them."""
    record = simulate(with_value(winchsim.read(path), "settings.sample_step", 0.7), sampled=True)
    for table in (record, record.sampled):
        for event in table.events:
            at = np.flatnonzero(table.time == event.time)
            inside = 0.0 < event.time < table.time[-1]
            assert len(at) >= (2 if inside else 1), f"{event.event} at {event.time}"
            assert not inside or np.isin(at, table.segment_starts).any()
        ends = np.append(table.segment_starts[1:], len(table.time))
        for start, end in zip(table.segment_starts, ends, strict=True):
            assert np.all(np.diff(table.time[start:end]) > 0)
            assert np.ptp(table["layer"][start:end]) == 0 == np.ptp(table.phase[start:end])
            assert table.bound[start:end].all() or not table.bound[start:end].any()
        np.testing.assert_array_equal(
            table.time[table.segment_starts[1:]], table.time[ends[:-1] - 1]
        )


@each_scenario
def test_lines_between_samples_tell_the_run(path):
    """Between two samples no quantity strays from the straight line, nor beyond the record's
    largest and smallest values."""
    record = printed(path, 1.0, False).record
    dense = simulate(winchsim.read(path), times=np.concatenate(list(_between(record))))
    starts, others = (np.append(table.segment_starts, len(table.time)) for table in (record, dense))
    for name, channel in record.channels.items():
        scale = np.ptp(channel.values)
        allowed = (STRAY_AT_CORNERS if name.startswith("mesh") else STRAY) * scale + 1e-12
        for k in range(len(starts) - 1):
            own, fine = slice(starts[k], starts[k + 1]), slice(others[k], others[k + 1])
            line = np.interp(dense.time[fine], record.time[own], channel.values[own])
            assert np.max(np.abs(line - dense[name][fine])) <= allowed, name
        low, high = channel.values.min(), channel.values.max()
        beyond = 3e-4 * max(scale, abs(high), abs(low))
        assert dense[name].max() - high <= beyond, name
        assert low - dense[name].min() <= (allowed if name.startswith("mesh") else beyond), name


def _between(record: Record) -> Iterator[np.ndarray]:
    """Three times between every two samples of a stretch, none of them at an even part of an
    integrator's step."""
    gaps = np.diff(record.time)
    for part in (0.21, 0.47, 0.79):
        yield (record.time[:-1] + part * gaps)[gaps > 0]


@each_scenario
def test_between_samples_the_run_is_as_right_as_at_them(path):
    """The interpolant inside the steps, against a run of a tolerance that leaves no error to
    see."""
    usual, true = printed(path, 1.0, False).record, exact(path)
    times = even_times(path)
    switches = np.concatenate([record.time[record.segment_starts] for record in (usual, true)])
    times = times[np.min(np.abs(times[:, None] - switches), axis=1) > 2e-4]
    own = simulate(winchsim.read(path), times=times)
    for name, channel in true.channels.items():
        one, two = (record[name][np.searchsorted(record.time, times)] for record in (own, true))
        scale = np.max(np.abs(channel.values))
        assert np.max(np.abs(one - two), initial=0.0) <= BOUNCE_LEFT * scale + 1e-12, name
