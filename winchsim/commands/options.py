"""The argument parser of winchsim, and what a command is."""

import re
import textwrap
from argparse import SUPPRESS, ArgumentParser, Namespace, RawDescriptionHelpFormatter
from collections.abc import Callable, Iterable, Sequence
from functools import partial
from importlib import import_module
from typing import Any, NoReturn

from winchsim.commands.env import Env
from winchsim.errors import Code, InputError, did_you_mean, refused
from winchsim.frozen import dataclass, replace
from winchsim.units import parse_quantity

Argument = tuple[str, dict[str, Any]]


def argument(name: str, metavar: str, help: str, **facts: Any) -> Argument:
    """One argument of a command that takes a value; `facts` as `argparse` has them."""
    return name, {"metavar": metavar, "help": help, **facts}


def choice(name: str, words: Sequence[str], help: str, **facts: Any) -> Argument:
    """An option that takes one of some words."""
    return name, {"choices": words, "help": help, **facts}


def flag(name: str, help: str, **facts: Any) -> Argument:
    """An option without a value."""
    return name, {"action": "store_true", "help": help, **facts}


COMMON = (
    choice("--color", ("auto", "always", "never"), "when to use colour", default=SUPPRESS),
    flag("--debug", "show the traceback of an internal fault", default=SUPPRESS),
)
"""Options that stand before or after a command's name."""


@dataclass(frozen=True)
class Command:
    """One command.

    Attributes
    ----------
    name : str
        Word that calls it.
    summary : str
        One clause for the list of commands.
    example : str
        A command line that works.
    arguments : sequence of Argument
        Besides those that every command has.
    details : str
        More about it, for its own help.
    file : str
        Name of the option that names one file to write; empty for none.
    module : str
        Module of `winchsim.commands` that does the work, where it has another name. Its ``run`` is
        called with the options and an `Env`, and returns an exit code.
    names : sequence of str, or callable
        Plain names of all files that may go into the folder ``--out``, with ``{}`` for the name of
        the command; or from the options to these.
    """

    name: str
    summary: str
    example: str
    arguments: Sequence[Argument]
    details: str = ""
    file: str = ""
    module: str = ""
    names: Sequence[str] | Callable[[Namespace], Sequence[str]] = ()

    def run(self, options: Namespace, env: Env) -> int:
        """Import its module, do the work, and return the exit code."""
        return int(import_module(f"winchsim.commands.{self.module or self.name}").run(options, env))

    def written(self, options: Namespace) -> list[str]:
        """Plain names of all files that it may write into its folder."""
        names = self.names(options) if callable(self.names) else self.names
        return [name.format(self.name) for name in names]

    def add(self, commands: Any) -> None:
        """Add its parser to the subparsers of another one."""
        about = [f"{self.summary[:1].upper()}{self.summary[1:]}.", self.details]
        parser: Parser = commands.add_parser(
            self.name, help=self.summary, description=about, epilog=f"example:\n  {self.example}"
        )
        parser.set_defaults(command=self, parser=parser)
        parser.add(
            flag("--json", "print one JSON document instead of text"), *COMMON, *self.arguments
        )


class HelpShownError(Exception):
    """Help or the version was printed; nothing else is to be done."""


class Parser(ArgumentParser):
    """Argument parser that raises instead of ending the process, and names the nearest word for a
    wrong one."""

    def __init__(
        self, *args: Any, env: Env, description: Sequence[str] = (), **kwargs: Any
    ) -> None:
        self.env, width = env, env.columns
        kwargs |= {
            "description": "\n\n".join(textwrap.fill(part, width) for part in description if part),
            "formatter_class": partial(
                RawDescriptionHelpFormatter, max_help_position=28, width=width
            ),
            "allow_abbrev": False,
        }
        super().__init__(*args, **kwargs)

    def add(self, *arguments: Argument) -> None:
        """Add arguments."""
        for name, facts in arguments:
            self.add_argument(name, **facts)

    def error(self, message: str) -> NoReturn:
        """Raise what is wrong with the arguments."""
        raise usage_error(message, f"{self.prog} -h shows what it takes")

    def exit(self, status: int = 0, message: str | None = None) -> NoReturn:
        """Leave after help or the version."""
        raise HelpShownError

    def _print_message(self, message: str, file: Any = None) -> None:
        self.env.out(message)

    def refuse_unknown(self, arguments: Iterable[str]) -> None:
        """Raise for arguments that nobody took, with the option that each may have meant."""
        for word in arguments:
            hint = did_you_mean(word.partition("=")[0], self._option_string_actions)
            raise usage_error(
                f"unknown argument {word}", hint or f"{self.prog} -h shows what it takes"
            )


def quantity_of(option: str, text: str | None, unit: str) -> Any:
    """SI value of an option's text, None where it was left out; a fault names the option."""
    try:
        return None if text is None else parse_quantity(text, unit)
    except InputError as error:
        raise InputError(tuple(replace(f, key=option) for f in error.faults)) from error


def refuse(*rules: tuple[object, str, str]) -> None:
    """Raise the first of several usage errors whose condition holds: condition, message, hint."""
    for is_wrong, message, hint in rules:
        if is_wrong:
            raise usage_error(message, hint)


def usage_error(message: str, hint: str) -> InputError:
    """What is wrong with the arguments, as an input error."""
    expected, choice = "", re.search(r"invalid choice: '(.*?)' \(choose from (.*)\)", message)
    if choice:
        words = re.findall(r"[\w-]+", choice[2])
        kind = "command" if message.startswith("argument COMMAND") else "choice"
        message, expected = f"unknown {kind} {choice[1]!r}", "one of: " + ", ".join(words)
        hint = did_you_mean(choice[1], words) or hint
    return refused(message, expected=expected, hint=hint, code=Code.USAGE)
