"""The argument parser of winchsim, and the options that several commands share."""

from __future__ import annotations

import argparse
import re
from collections.abc import Callable, Iterable
from typing import Any, NoReturn

from winchsim.commands.env import Env
from winchsim.errors import Code, Fault, InputError, did_you_mean

Run = Callable[[argparse.Namespace, Env], int]


class HelpShownError(Exception):
    """Help or the version was printed; nothing else is to be done."""


class Parser(argparse.ArgumentParser):
    """Argument parser that raises instead of ending the process, and names the nearest word for a
    wrong one."""

    def __init__(self, *args: Any, env: Env, **kwargs: Any) -> None:
        kwargs = {"formatter_class": _formatter, "allow_abbrev": False, **kwargs}
        super().__init__(*args, **kwargs)
        self.env = env

    def error(self, message: str) -> NoReturn:
        """Raise what is wrong with the arguments."""
        raise usage_error(message, f"{self.prog} -h shows what it takes")

    def exit(self, status: int = 0, message: str | None = None) -> NoReturn:
        """Leave after help or the version."""
        raise HelpShownError

    def _print_message(self, message: str, file: Any = None) -> None:
        if message:
            self.env.out(message)

    def refuse_unknown(self, arguments: Iterable[str]) -> None:
        """Raise for arguments that nobody took, with the option that each may have meant."""
        left = list(arguments)
        if not left:
            return
        known = [option for action in self._actions for option in action.option_strings]
        hint = did_you_mean(left[0].partition("=")[0], known)
        raise usage_error(
            f"unknown argument {left[0]}", hint or f"{self.prog} -h shows what it takes"
        )


def usage_error(message: str, hint: str) -> InputError:
    """What is wrong with the arguments, as an input error."""
    choice = re.search(r"invalid choice: '(.*?)' \(choose from (.*)\)", message)
    if choice:
        words = re.findall(r"[\w-]+", choice[2])
        message = (
            f"unknown "
            f"{'command' if message.startswith('argument COMMAND') else 'choice'} {choice[1]!r}"
        )
        hint = did_you_mean(choice[1], words) or hint
        return InputError(
            (Fault(message, expected="one of: " + ", ".join(words), hint=hint, code=Code.USAGE),)
        )
    return InputError((Fault(message, hint=hint, code=Code.USAGE),))


def _formatter(prog: str) -> argparse.HelpFormatter:
    return argparse.RawDescriptionHelpFormatter(prog, max_help_position=28, width=96)


def add_command(
    commands: Any, name: str, summary: str, run: Run, *, example: str, details: str = ""
) -> Parser:
    """Parser of one command, with the options that every command has.

    Parameters
    ----------
    commands : argparse subparsers
        Where to add it.
    name : str
        Word that calls it.
    summary : str
        One clause for the list of commands.
    run : callable
        Called with the options and an `Env`; returns an exit code.
    example : str
        A command line that works.
    details : str
        More about it, for its own help.

    Returns
    -------
    Parser
        To add the command's own arguments to.
    """
    description = f"{summary[:1].upper()}{summary[1:]}." + (f"\n\n{details}" if details else "")
    parser: Parser = commands.add_parser(
        name, help=summary, description=description, epilog=f"example:\n  {example}"
    )
    parser.set_defaults(run=run, parser=parser)
    parser.add_argument(
        "--json", action="store_true", help="print one JSON document instead of text"
    )
    add_common(parser)
    return parser


def add_common(parser: argparse.ArgumentParser) -> None:
    """Options that stand before or after the command's name."""
    parser.add_argument(
        "--color",
        choices=("auto", "always", "never"),
        default=argparse.SUPPRESS,
        help="when to use colour",
    )
    parser.add_argument(
        "--debug",
        action="store_true",
        default=argparse.SUPPRESS,
        help="show the traceback of an internal fault",
    )


def add_scenario(parser: argparse.ArgumentParser, *, several: bool = False) -> None:
    """The scenario file, and values changed in it."""
    if several:
        parser.add_argument("files", metavar="FILE", nargs="+", help="scenario files")
    else:
        parser.add_argument("file", metavar="FILE", help="scenario file")
    parser.add_argument(
        "--set",
        metavar="PATH=VALUE",
        action="append",
        default=[],
        dest="overrides",
        help='change a value, such as --set load.mass="30 kg" (may be repeated)',
    )


def add_units(parser: argparse.ArgumentParser) -> None:
    """Whether US units are printed beside the SI ones."""
    parser.add_argument(
        "--units", choices=("si", "us"), default="si", help="print US units beside the SI ones"
    )


def add_force(parser: argparse.ArgumentParser) -> None:
    """Whether files that are there may be replaced."""
    parser.add_argument("--force", action="store_true", help="replace files that exist")
