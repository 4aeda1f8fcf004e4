"""``winchsim lift``: will it lift, stall, run back or break?"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from winchsim.commands.env import Env
from winchsim.commands.options import (
    FILE,
    FORCE,
    FULL,
    SET,
    UNITS,
    Command,
    argument,
    out_folder,
    quantity_of,
)
from winchsim.commands.outputs import STDOUT, present, write_csv, write_out

if TYPE_CHECKING:
    from winchsim.inputs import Inputs
    from winchsim.studies.snag import SnagStudy


def run(options: argparse.Namespace, env: Env) -> int:
    """Simulate, assess, write the files, print the report."""
    from winchsim.scenario.read import read

    scenario = read(options.file, options.overrides)

    from winchsim.assessment.evaluate import assess
    from winchsim.report.lift import build
    from winchsim.simulation import simulate

    record = simulate(scenario.inputs, sampled=bool(options.csv or options.out))
    found = assess(record, actions=not options.no_remedies)
    overrides, us = tuple(options.overrides), options.units == "us"
    snag = _snag(scenario.inputs) if options.snag else None
    series = None
    if options.repeat is not None:
        from winchsim.studies.series import repeat

        pause = quantity_of("--pause", options.pause, "s")
        series = repeat(scenario.inputs, options.repeat, 0.0 if pause is None else pause)
    report = build(found, scenario, record, overrides, snag=snag, series=series)
    about: dict[str, Any] = {}
    if options.csv or options.out:
        from winchsim.report.csv_out import record_csv
        from winchsim.report.json_out import event_facts

        about = {"digest": scenario.digest, "events": event_facts(record)}
    if options.csv:  # first, so that a file in the way leaves one answer and not two
        write_csv(options, env, record_csv(record), **about)
    if options.out:
        from winchsim.report.bundle import report_files

        write_out(options, env, report_files(report, scenario, record, us=us), **about)

    def as_json() -> str:
        from winchsim.report.json_out import lift_json

        return lift_json(found, scenario, record, overrides, snag=snag, series=series)

    if options.json or options.csv != STDOUT:
        present(options, env, report, as_json)
    if options.snag and snag is None:
        env.note("no snag was simulated: the load does not come as far as half its height")
    short = series is not None and series.done < series.asked
    return max(found.exit_code, int(short))


def _names(_: argparse.Namespace) -> tuple[str, ...]:
    from winchsim.report.names import FILE_NAMES

    return FILE_NAMES


def _snag(inputs: Inputs) -> SnagStudy | None:
    from winchsim.studies.snag import snag_study

    return snag_study(inputs)


COMMANDS = (
    Command(
        "lift",
        "simulate and assess the lift of a scenario",
        run,
        'winchsim lift crate.toml --set load.mass="30 kg"',
        (
            FILE,
            SET,
            FULL,
            argument(
                "--csv",
                metavar="FILE",
                help="write the record, one column a quantity, one row a sample (- for standard output)",
            ),
            out_folder(
                "write report.html, report.md, the figures, record.csv and gears.csv (the gears to print) there"
            ),
            argument(
                "--no-remedies", action="store_true", help="do not look for actions that help"
            ),
            argument("--snag", action="store_true", help="also simulate a snag at half height"),
            argument(
                "--repeat",
                metavar="NUMBER",
                type=int,
                help="so many lifts: warmth, battery and damage of the teeth add",
            ),
            argument("--pause", metavar="TIME", help='between them, such as "2 min"'),
            UNITS,
            FORCE,
        ),
        "Prints one screen: what becomes of the load, the checks with their ranges, the weakest "
        "parts, what breaks in a jam, and what to change. --full prints the rest. "
        "Ends with 0 when the target is reached and no check fails, else with 1.",
        file="csv",
        names=_names,
    ),
)
