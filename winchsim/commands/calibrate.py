"""``winchsim calibrate``: what timed lifts say of the numbers that a scenario assumes."""

from __future__ import annotations

import argparse
from collections.abc import Mapping
from typing import TYPE_CHECKING

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import (
    FILE,
    FORCE,
    FULL,
    LOG,
    SET,
    UNITS,
    Command,
    argument,
    out_folder,
    quantity_of,
)
from winchsim.commands.outputs import again, present, write_out

if TYPE_CHECKING:
    from winchsim.report.document import Finding
    from winchsim.scenario.read import Scenario
    from winchsim.studies.calibrate import Calibration

FILE_NAMES = (
    "calibrated.toml",
    "measured-predicted.png",
    "measured-predicted.svg",
    "calibration.json",
)


def run(options: argparse.Namespace, env: Env) -> int:
    """Fit, print, write."""
    from winchsim.scenario.read import read
    from winchsim.scenario.sheet import SheetRow
    from winchsim.scenario.trace import read_for

    scenario = read(options.file, options.overrides)
    masses = [quantity_of("--next", text, "kg") for text in options.masses]
    rows, origin, logged = read_for(scenario.inputs, options.tests, options.log)

    from winchsim.report.calibration import build, calibration_json, rounded
    from winchsim.report.measured import lift_tests
    from winchsim.report.words.calibration import other_version
    from winchsim.report.words.measured import noted
    from winchsim.studies.calibrate import calibrate

    tests = lift_tests(scenario.inputs, [*rows, *(SheetRow(mass=mass) for mass in masses)])
    names = tuple(name.strip() for name in options.fit.split(",") if name.strip())
    level = quantity_of("--level", options.level, "")
    found = calibrate(scenario.inputs, tests, only=names, level=level)
    found = rounded(found, scenario.inputs)
    caution = other_version(origin, rows, scenario.inputs, scenario.digest)
    findings = {"other_version": caution} if caution else {}
    findings |= {"log": noted(logged)} if logged else {}
    files = _write(options, env, scenario, found, findings) if options.out else ()
    inputs, name = scenario.inputs, scenario.name
    report = build(found, inputs, name=name, findings=findings, command=again(options))
    facts = calibration_json(found, findings, digest=scenario.digest, files=files)
    present(options, env, report, facts)
    return ExitCode.GOOD


def _write(
    options: argparse.Namespace,
    env: Env,
    scenario: Scenario,
    found: Calibration,
    findings: Mapping[str, Finding],
) -> tuple[str, ...]:
    from winchsim.report.calibration import calibration_json, remarks, with_cautions
    from winchsim.report.figures.calibration import measured_and_predicted
    from winchsim.report.figures.look import COLUMN
    from winchsim.report.figures.save import image
    from winchsim.scenario.rewrite import rewrite

    figure = measured_and_predicted(found, COLUMN)
    contents = (
        with_cautions(rewrite(scenario, found.inputs, remarks(found)).text),
        image(figure, "png", COLUMN, scenario.digest),
        image(figure, "svg", COLUMN, scenario.digest),
        calibration_json(found, findings, digest=scenario.digest, files=FILE_NAMES),
    )
    return tuple(write_out(options, env, dict(zip(FILE_NAMES, contents, strict=True))))


COMMANDS = (
    Command(
        "calibrate",
        "fit what the scenario assumes to timed lifts, and predict the next one",
        run,
        "winchsim calibrate crate.toml tests.csv --out calibrated",
        (
            FILE,
            SET,
            FULL,
            argument("tests", metavar="TESTS.csv", help="test sheet, one row a test, or a log"),
            LOG,
            argument(
                "--fit",
                metavar="NAMES",
                default="",
                help="factors to fit, such as mesh_friction,bearings; left out: all",
            ),
            argument(
                "--next",
                metavar="MASS",
                action="append",
                default=[],
                dest="masses",
                help='load to predict, such as "12 kg"',
            ),
            argument(
                "--level",
                metavar="SHARE",
                default="90 %",
                help="probability of the intervals (default: 90 %%)",
            ),
            out_folder("folder for the calibrated scenario, the figure and the numbers"),
            UNITS,
            FORCE,
        ),
        "Fits all assumed values at once, each held by the range that it is declared with; lists "
        "what the tests do not determine, names a measurement that does not fit the others, takes "
        "stalls and holds as evidence from one side, and bounds the capacity of a part that broke. "
        "Rows without results are tests to come: they are predicted. A log of time and current, "
        "voltage, height or turns is cut into its lifts. With --out: the calibrated scenario, a figure of measured against predicted, and the numbers.",
        names=lambda _: FILE_NAMES,
    ),
)
