"""The command line: read the arguments, call the command, turn whatever happens into text and an
exit code."""

import atexit
import functools
import gc
import os
import sys
import traceback
from collections.abc import Sequence
from typing import Any

from winchsim.commands.call import COMMON, Env, ExitCode, HelpShownError, Parser, check_outputs
from winchsim.commands.table import COMMANDS
from winchsim.errors import Code, InputError, OutputError, WinchsimError
from winchsim.report.json_text import document, error_facts
from winchsim.report.problems import error_text
from winchsim.scenario.read import located, read, with_parts
from winchsim.version import __version__


def main(argv: Sequence[str] | None = None, env: Env | None = None) -> int:
    """Run one command line.

    Parameters
    ----------
    argv : sequence of str, optional
        Arguments after the program's name; left out, those of the process.
    env : Env, optional
        Streams and surroundings; left out, those of the process.

    Returns
    -------
    int
        One of `ExitCode`.
    """
    if argv is None and env is None:
        _spare_the_process()
    arguments = list(sys.argv[1:] if argv is None else argv)
    surroundings = Env.of_process() if env is None else env
    try:
        code = _guarded(arguments, surroundings)
    except BrokenPipeError:
        code = ExitCode.PIPE_CLOSED
    except OutputError as error:  # of the words about an error
        colour = surroundings.coloured(surroundings.stderr_is_terminal)
        surroundings.note(error_text(error, colour, surroundings.columns))
        code = error.exit_code
    if env is None:
        _quieten()
    return int(code)


def _spare_the_process() -> None:
    """Leave out what costs a process of one command a quarter of its time, and gives it nothing."""
    gc.set_threshold(1_000_000, 50, 50)  # imports make no garbage worth a search
    # No matrix here is large enough to be shared out: other threads of the linear algebra would
    # only wait for work.
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    # What is in memory at the end goes with the process: no need to look through all of it for
    # cycles.
    atexit.register(gc.freeze)


def _quieten() -> None:
    """Keep Python from complaining once more, while it ends, about a stream that takes nothing."""
    for stream in (sys.stdout, sys.stderr):
        try:
            if stream is not None:
                stream.flush()
        except OSError:
            os.dup2(os.open(os.devnull, os.O_WRONLY), stream.fileno())


def _guarded(arguments: list[str], env: Env) -> int:
    """Exit code of a command line, whatever it raises; errors are printed, as JSON where JSON was
    asked for."""
    env.as_json = "--json" in arguments
    try:
        return _run(arguments, env)
    except HelpShownError:
        return ExitCode.GOOD
    except KeyboardInterrupt:
        env.note("interrupted")
        return ExitCode.INTERRUPTED
    except BrokenPipeError:
        raise
    except Exception as error:
        summary = f"internal fault: {type(error).__name__}: {error}".replace("\n", " ")[:300]
        found = error if isinstance(error, WinchsimError) else WinchsimError(summary)
        if env.as_json:
            env.out(document(error=error_facts(found)))
        else:
            env.note(error_text(found, env.coloured(env.stderr_is_terminal), env.columns))
        if "--debug" in arguments:
            env.note(traceback.format_exc())
        elif found.code is Code.INTERNAL:
            env.note("   try: the same command with --debug shows where it happened")
        return found.exit_code


def _run(arguments: list[str], env: Env) -> int:
    parser = _parser(env, arguments)
    options, unknown = parser.parse_known_args(arguments)
    env.colour = getattr(options, "color", "auto")
    if not hasattr(options, "command"):
        parser.refuse_unknown(unknown)
        env.note(parser.format_help())
        return ExitCode.MISUSE
    options.parser.refuse_unknown(unknown)
    options.words = arguments
    check_outputs(options, env)
    _read_scenarios(options)
    try:
        return options.command.run(options, env)
    except InputError as error:
        if len(getattr(options, "scenarios", ())) != 1:
            raise
        raise located(error, options.scenario, options.overrides) from error


def _read_scenarios(options: Any) -> None:
    """Read the scenarios that a command is called with, as `options.scenarios` and, the first of
    them, `options.scenario`."""
    if not hasattr(options, "overrides"):
        return
    paths = getattr(options, "files", None) or [options.file]
    found = [read(path, options.overrides) for path in paths if path is not None]
    if getattr(options, "parts", None) is not None:
        found = [with_parts(scenario, options.parts) for scenario in found]
    options.scenarios, options.scenario = found, next(iter(found), None)


def _parser(env: Env, arguments: Sequence[str]) -> Parser:
    """Parser of a command line: it knows every command, or only the one that the arguments begin
    with."""
    parser = Parser(
        prog="winchsim",
        description=(
            "Simulates a motor-driven winch lift: will it lift, stall, run back or break?",
        ),
        env=env,
        epilog="example:\n  winchsim new crate.toml",
    )
    parser.add_argument("--version", action="version", version=f"winchsim {__version__}")
    parser.add(*COMMON)
    make: Any = functools.partial(Parser, env=env)
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", parser_class=make)
    for command in [each for each in COMMANDS if each.name in arguments[:1]] or COMMANDS:
        command.add(commands)
    return parser
