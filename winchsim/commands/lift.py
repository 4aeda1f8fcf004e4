"""``winchsim lift``: will it lift, stall, run back or break?"""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import add_command, add_force, add_scenario, add_units
from winchsim.commands.outputs import add_out_file, add_out_folder, write_out

if TYPE_CHECKING:
    from winchsim.inputs import Inputs
    from winchsim.verdict.snag import SnagStudy


def register(commands: Any) -> None:
    """Add the command."""
    parser = add_command(
        commands,
        "lift",
        "simulate the lift of a scenario and say what comes of it",
        run,
        example='winchsim lift crate.toml --set load.mass="30 kg"',
        details=(
            "Prints the verdict in one sentence, then the timeline, the margins, the weakest links, the energy,\n"
            "the findings with what would help, what was assumed, and the cautions.\n"
            "Ends with 0 when the load was lifted as asked and nothing dangerous was found, else with 1."
        ),
    )
    add_scenario(parser)
    add_out_file(parser, "--csv", "write the record, one column a quantity, one row a sample")
    add_out_folder(parser, _names, "write report.html, report.md with its figures, and record.csv there")
    parser.add_argument(
        "--no-remedies", action="store_true", help="do not look for changes that would remedy a stall or a run-back"
    )
    parser.add_argument(
        "--snag", action="store_true", help="also simulate a snag, and the current limit that would save every link"
    )
    add_units(parser)
    add_force(parser)


def run(options: argparse.Namespace, env: Env) -> int:
    """Simulate, print the report, write the record where asked to."""
    from winchsim.scenario.read import read

    scenario = read(options.file, options.overrides)

    from winchsim.simulation import simulate
    from winchsim.verdict.judge import judge

    record = simulate(scenario.inputs, sampled=bool(options.csv or options.out))
    verdict = judge(record, remedies=not options.no_remedies)
    snag = _snag(scenario.inputs) if options.snag and verdict.trusted else None
    if options.csv:  # first, so that a file in the way leaves one answer and not two
        from winchsim.report.csv_out import record_csv
        from winchsim.report.writing import write_file

        write_file(options.csv, record_csv(record, digest=scenario.digest), force=options.force)
        env.note(f"wrote {options.csv}")
    if options.out:
        from winchsim.report.bundle import report_files

        files = report_files(scenario, tuple(options.overrides), record, verdict, us=options.units == "us", snag=snag)
        write_out(options, env, files)
    if options.json:
        from winchsim.report.json_out import lift_json

        env.out(lift_json(record, verdict, digest=scenario.digest, snag=snag))
    else:
        from winchsim.report.text import lift_text

        env.out(lift_text(record, verdict, name=scenario.name, us=options.units == "us", paint=env.paint, snag=snag))
    if options.snag and snag is None:
        env.note("no snag was simulated: the load does not come as far as half its height")
    if not verdict.trusted:
        return ExitCode.NO_TRUST
    return ExitCode.GOOD if verdict.passes else ExitCode.BAD


def _names(_: argparse.Namespace) -> tuple[str, ...]:
    from winchsim.report.names import FILE_NAMES

    return FILE_NAMES


def _snag(inputs: Inputs) -> SnagStudy | None:
    from winchsim.verdict.snag import snag_study

    return snag_study(inputs)
