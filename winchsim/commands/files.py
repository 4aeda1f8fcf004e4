"""The names of the files that a command may write: known without what takes long to import."""

from collections.abc import Sequence

from winchsim.commands.call import Namespace, refuse
from winchsim.report import names

FORMATS = ("png", "svg", "pdf")

FILM = "lift"
"""Stem of the file of a moving picture."""

STUDY = ("{}.html", "{}.txt", "{}.json", "{}.csv", "{}.svg", "{}.png")
"""Files of a study, with the name of the command in place of the braces: page, text, data and
figure."""

CALIBRATION = (
    "calibrated.toml",
    "measured-predicted.png",
    "measured-predicted.svg",
    "calibration.json",
)
"""Files of a calibration."""


def of_ladder(options: Namespace) -> Sequence[str]:
    """Files of a ladder: a sheet without predictions has its answers beside it."""
    more = ("answers.html", "answers.json") if options.blind else ("ladder.json",)
    return "ladder.html", "ladder.csv", *more


def of_curves(options: Namespace) -> Sequence[str]:
    """Files of figures."""
    moving = [f"{FILM}.{options.animate}"] if options.animate else []
    return [f"{stem}.{form}" for stem in stems(options) for form in formats(options)] + moving


def stems(options: Namespace) -> list[str]:
    """Names of the figures that are asked for."""
    every = names.NAMES
    if options.measured:
        every = names.TESTS.name, names.BESIDE_SHEET.name
    if len(options.files) > 1 or options.ladder:
        every = (names.OVERLAY.name,)
    return list(every) if options.only is None else _chosen(options.only, "figure", every, "--only")


def formats(options: Namespace) -> list[str]:
    """Formats of figures that are asked for."""
    return _chosen(options.format.lower(), "format", FORMATS, "--format")


def _chosen(text: str, kind: str, every: Sequence[str], option: str) -> list[str]:
    """Names of a list with commas, each once; a name that is none of `every` is refused."""
    asked = [name.strip().lstrip(".") for name in text.split(",") if name.strip()]
    hint = f"{option} takes any of {', '.join(every)}"
    refuse((not asked, f"no {kind} given", hint))
    refuse(*((name not in every, f"unknown {kind} {name!r}", hint) for name in asked))
    return list(dict.fromkeys(asked))
