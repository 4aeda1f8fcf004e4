"""Winches for tests: a small quick one whose every part can be changed, and an ideal one for the
textbooks' drives."""

import os
import shutil
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from dataclasses import replace
from importlib.util import find_spec
from pathlib import Path

import pytest

from winchsim.inputs import Drum, Inputs, Load, MotorGroup, Phase, Rope, Settings, Stage, Supply
from winchsim.scenario.materials_table import with_tables

HOME = Path(__file__).parent.parent / ".pytest_cache" / "home"
"""What fonts, browser and their like leave behind goes here, not into the user's home folder."""
os.environ.update({"HOME": str(HOME), "XDG_CACHE_HOME": "", "XDG_CONFIG_HOME": ""})

UNBREAKABLE = {"breaking_force": 1e8, "knot_efficiency": 1.0}
WEIGHTLESS = {"mass_per_length": 0.0}
IDEAL_ROPE = {"damping_ratio": 1.0, **UNBREAKABLE, **WEIGHTLESS}


def motor(
    resistance: float,
    constant: float,
    *,
    idle_current: float = 0.0,
    voltage: float = 6.0,
    brush_drop: float = 0.0,
    **more,
) -> MotorGroup:
    """Motor group whose data sheet agrees exactly with a resistance, a constant and a no-load
    current."""
    stall_current = (voltage - brush_drop) / resistance
    data = {
        "voltage": voltage,
        "no_load_speed": (voltage - brush_drop - idle_current * resistance) / constant,
        "no_load_current": idle_current,
        "stall_torque": constant
        * (stall_current - idle_current * (1 - more.get("drag_speed_share", 0.0))),
        "stall_current": stall_current,
        "brush_drop": brush_drop,
        "rotor_inertia": 1e-7,
        "winding_heat_capacity": 1e6,
        "case_heat_capacity": 1e6,
        "winding_to_case": 1.0,
        "case_to_ambient": 1.0,
        "magnet_coefficient": 0.0,
        "bearing_efficiency": 1.0,
    }
    return MotorGroup(**{**data, **more})


def stage(ratio: float, efficiency: float = 1.0, reverse: float | None = None, **more) -> Stage:
    """Reduction of a ratio and efficiency, without drag and without inertia unless said."""
    data = {
        "kind": "other",
        "ratio": ratio,
        "efficiency": efficiency,
        "reverse_efficiency": reverse,
        "shaft_drag": 0.0,
    }
    return Stage(**{**data, **more})


SMALL = {
    "motors": (motor(4.0, 0.005, idle_current=0.12, count=2),),
    "supply": Supply(voltage=6.0, resistance=0.2),
    "stage": (stage(5.0, 0.8, shaft_drag=2e-4, repeat=3),),
    "drum": Drum(
        diameter=0.010, width=0.040, inertia=1e-6, anchor_hold=1e7, bearing_efficiency=1.0
    ),
    "rope": Rope(diameter=0.002, axial_stiffness=2e4, **UNBREAKABLE, **WEIGHTLESS),
    "load": Load(mass=8.0, height=0.1),
    "settings": Settings(watch=1.0, stall_watch=1.0),
}
"""Two motors on 125:1 that raise 8 kg by 0.1 m in a few seconds and hold it."""


def small_winch(**parts) -> Inputs:
    """The small winch with parts replaced (whole tables) or changed (a dict of some of a table's
    values)."""
    chosen = dict(SMALL)
    for name, part in parts.items():
        if isinstance(part, dict):
            chosen[name] = replace(chosen[name], **part)
        elif isinstance(part, MotorGroup | Stage | Phase):
            chosen[name] = (part,)
        else:
            chosen[name] = part
    return with_tables(Inputs(**chosen))


def ideal_winch(
    *,
    motors: MotorGroup | tuple[MotorGroup, ...],
    radius: float,
    span: float,
    load: dict,
    stages: tuple[Stage, ...] = (),
    supply: dict | None = None,
    rope: dict | None = None,
    drum: dict | None = None,
    settings: dict | None = None,
    phase: tuple[Phase, ...] = (),
    **more,
) -> Inputs:
    """Winch of a textbook: one layer at one radius, no losses but those given, a rope that its load
    stretches by a millionth.

    Parameters
    ----------
    motors : MotorGroup or tuple
    radius : float
        From the drum's axis to the rope's centre line. [m]
    span : float
        From the load's start to the drum. [m]
    load, supply, rope, drum, settings : dict
        Further values of these tables, in SI.
    stages, phase, more
        Further tables.
    """
    thin = min(0.01, radius / 10)
    stiff = 9.81 * load["mass"] * 1e6
    groups = motors if isinstance(motors, tuple) else (motors,)
    return with_tables(
        Inputs(
            motors=groups,
            supply=Supply(**{"voltage": groups[0].voltage, "kind": "battery", **(supply or {})}),
            stage=stages,
            drum=Drum(
                **{
                    "diameter": 2 * radius - thin,
                    "width": max(span / radius * thin, 0.05),
                    "inertia": 0.0,
                    "dead_turns": 0.0,
                    "anchor_hold": 1e7,
                    "bearing_efficiency": 1.0,
                    **(drum or {}),
                }
            ),
            rope=Rope(**{"diameter": thin, "axial_stiffness": stiff, **IDEAL_ROPE, **(rope or {})}),
            load=Load(**{"height": span / 2, "drum_height": span, **load}),
            settings=Settings(
                **{
                    "breakaway": 1.0,
                    "gravity": 9.81,
                    "watch": 0.0,
                    "relative_tolerance": 1e-7,
                    **(settings or {}),
                }
            ),
            phase=phase,
            **more,
        )
    )


@pytest.fixture(scope="session")
def small() -> Callable[..., Inputs]:
    """Maker of the small winch, see `small_winch`."""
    return small_winch


@pytest.fixture(scope="session")
def ideal() -> Callable[..., Inputs]:
    """Maker of an ideal winch, see `ideal_winch`."""
    return ideal_winch


@pytest.fixture(scope="session")
def make_motor() -> Callable[..., MotorGroup]:
    """Maker of an exactly known motor, see `motor`."""
    return motor


@pytest.fixture(scope="session")
def make_stage() -> Callable[..., Stage]:
    """Maker of a reduction, see `stage`."""
    return stage


@pytest.fixture(scope="session")
def sliding(make_stage) -> dict:
    """Parts of a winch with so little friction that it runs back with the power off."""
    return {"stage": make_stage(4.0, 0.95, repeat=3), "load": {"mass": 6.0}}


@pytest.fixture
def linear() -> Callable[..., Inputs]:
    """Maker of one linear motor without drag on a lossless 50:1 train: 2 ohm, 0.01 V·s/rad, 6 V on a 20 mm
    radius."""

    def make(**load):
        return ideal_winch(
            motors=motor(2.0, 0.01, rotor_inertia=1e-9),
            stages=(stage(50.0),),
            radius=0.02,
            span=2.0,
            load={"start_height": 0.001, "height": 1.0, **load},
            phase=(Phase(action="raise", until="top"),),
        )

    return make


TRACED = 5.0
"""How many times longer a computation may take while something watches each of its lines, as a
count of coverage does."""


@contextmanager
def _within(seconds: float) -> Iterator[None]:
    started = time.process_time()
    yield
    taken = time.process_time() - started
    allowed = seconds * (1.0 if sys.gettrace() is None else TRACED)
    assert taken < allowed, f"took {taken:.2f} s of processor time, {allowed:g} s allowed"


@pytest.fixture(scope="session")
def within() -> Callable[[float], AbstractContextManager[None]]:
    """Maker of a context that fails where its block takes longer than so many seconds of this
    process, whatever else runs."""
    return _within


@pytest.hookimpl(wrapper=True)
def pytest_runtest_makereport(item, call):
    """Fail what is left out where ``CI`` is set: everything is installed there."""
    report = yield
    if report.skipped and os.environ.get("CI"):
        report.outcome, report.longrepr = "failed", f"left out: {report.longrepr}"
    return report


BROWSERS = ("chromium", "chromium-browser")


@pytest.fixture(scope="session")
def chromium():
    """The distribution's browser; where there is none, or none that runs, the test is left out."""
    program = next(filter(None, map(shutil.which, BROWSERS)), None)
    if program is None or find_spec("playwright") is None:
        pytest.skip(f"no browser here (one of {', '.join(BROWSERS)}, and playwright)")
    call = [program, "--headless", "--no-sandbox", "--dump-dom", "data:text/html,works"]
    try:
        subprocess.run(call, capture_output=True, timeout=60, check=True)
    except (OSError, subprocess.SubprocessError) as error:
        pytest.skip(f"{program} does not run here: {error}")
    from playwright.sync_api import sync_playwright

    with sync_playwright() as driver:
        browser = driver.chromium.launch(executable_path=program)
        yield browser
        browser.close()
