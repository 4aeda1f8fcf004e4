"""``winchsim lift``: will it lift, stall, run back or break?"""

from winchsim.assessment.evaluate import assess
from winchsim.commands.call import (
    STDOUT,
    Env,
    Namespace,
    again,
    present,
    quantity_of,
    refuse,
    write_csv,
    write_out,
)
from winchsim.report.lift import build
from winchsim.simulation import simulate
from winchsim.studies.further_runs import repeat, snag_study


def run(options: Namespace, env: Env) -> int:
    """Simulate, assess, write the files, print the report."""
    scenario, pause = options.scenario, quantity_of("--pause", options.pause, "s")
    refuse(
        (
            options.repeat is not None and options.repeat < 1,
            f"--repeat {options.repeat} is out of range",
            "--repeat takes 1 or more",
        ),
        (
            options.repeat is None and pause is not None,
            "--pause without --repeat",
            "add --repeat 5",
        ),
    )
    record = simulate(scenario.inputs, sampled=bool(options.csv or options.out))
    found = assess(record, actions=not options.no_remedies)
    overrides, snag, series = tuple(options.overrides), None, None
    if options.snag:
        snag = snag_study(scenario.inputs)
        if snag is None:
            env.note("no snag was simulated: the load does not reach its place")
    if options.repeat is not None:
        series = repeat(scenario.inputs, options.repeat, pause or 0.0)
    report = build(found, scenario, record, again(options), snag=snag, series=series)
    if options.csv or options.out or options.json:
        from winchsim.report.bundle import record_csv, report_files
        from winchsim.report.json_out import event_facts, lift_json

        about = {"digest": scenario.digest, "events": event_facts(record)}
    if options.csv:  # first, so that a file in the way leaves one answer and not two
        write_csv(options, env, record_csv(record), **about)
    if options.out:
        write_out(
            options,
            env,
            report_files(report, scenario, record, us=options.units == "us"),
            **about,
        )
    if options.json or options.csv != STDOUT:
        present(
            options,
            env,
            report,
            lambda: lift_json(found, scenario, record, overrides, snag=snag, series=series),
        )
    return max(found.exit_code, int(series is not None and series.fails))
