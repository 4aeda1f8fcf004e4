"""``winchsim ladder``: a plan of test loads from light to the target, to print and fill in."""

from winchsim.commands.call import Env, Namespace, again, present, quantity_of, refuse, write_out
from winchsim.report import ladder as report
from winchsim.studies.ladder import plan_ladder

MOST_RUNGS = 12
"""Most loaded rungs that are planned."""


def run(options: Namespace, env: Env) -> int:
    """Plan, write the files where asked to, print the result."""
    refuse(
        (
            not 1 <= options.rungs <= MOST_RUNGS,
            f"--rungs {options.rungs} is out of range",
            f"--rungs takes 1 to {MOST_RUNGS}",
        )
    )
    target = quantity_of("--target", options.target, "kg")
    scenario, us, blind = options.scenario, options.units == "us", options.blind
    with env.progress("rungs") as tell:
        ladder = plan_ladder(scenario.inputs, target=target, rungs=options.rungs, on_progress=tell)
    json = report.ladder_json(ladder, scenario.digest)
    if options.out:
        contents = [
            report.ladder_page(ladder, scenario, us=us, blind=blind),
            report.ladder_csv(ladder, us=us, digest=scenario.digest, blind=blind),
            *([report.ladder_page(ladder, scenario, us=us)] if blind else []),
            json,
        ]
        files = dict(zip(options.command.written(options), contents, strict=True))
        write_out(options, env, files, digest=scenario.digest)
    present(options, env, report.build(ladder, scenario, again(options)), lambda: json)
    return ladder.exit_code
