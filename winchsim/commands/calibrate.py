"""``winchsim calibrate``: what timed lifts say of the numbers that a scenario assumes."""

from winchsim.commands.call import Env, ExitCode, Namespace, again, present, quantity_of, write_out
from winchsim.report import calibration as report
from winchsim.report.measured import lift_tests, log, other_version
from winchsim.scenario.change import rewrite
from winchsim.scenario.sheet import SheetRow
from winchsim.scenario.trace import read_for
from winchsim.studies.calibrate import calibrate


def run(options: Namespace, env: Env) -> int:
    """Fit, print, write."""
    scenario = options.scenario
    masses = [quantity_of("--next", text, "kg") for text in options.masses]
    level = quantity_of("--level", options.level, "")
    rows, origin, logged = read_for(scenario.inputs, options.tests, options.log)
    planned = {test.mass for test in lift_tests(scenario.inputs, rows) if not test.done}
    asked = [SheetRow(mass=mass) for mass in dict.fromkeys(masses) if mass not in planned]
    tests = lift_tests(scenario.inputs, [*rows, *asked])
    names = [name.strip() for name in options.fit.split(",") if name.strip()]
    found = report.rounded(calibrate(scenario.inputs, tests, only=names, level=level))
    findings = {
        "other_version": other_version(origin, rows, scenario.inputs, scenario.digest),
        "log": log(logged) if logged else None,
    }
    cautions = {kind: finding for kind, finding in findings.items() if finding}
    files = options.command.written(options) if options.out else ()
    json = report.calibration_json(found, cautions, digest=scenario.digest, files=tuple(files))
    if options.out:
        from winchsim.report.figures.catalogue import draw, image
        from winchsim.report.figures.look import COLUMN

        figure = draw(report.FIGURE.drawn_by, found, COLUMN)
        contents = (
            report.with_cautions(rewrite(scenario, found.inputs, report.remarks(found)).text),
            image(figure, "png", COLUMN, scenario.digest),
            image(figure, "svg", COLUMN, scenario.digest),
            json,
        )
        write_out(options, env, dict(zip(files, contents, strict=True)))
    present(options, env, report.build(found, scenario, cautions, again(options)), lambda: json)
    return ExitCode.GOOD
