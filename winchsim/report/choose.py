"""The report of a choice from parts at hand: document, JSON and CSV."""

import shlex
from collections.abc import Sequence
from typing import Any

from winchsim.report import frame
from winchsim.report.document import (
    Cell,
    Document,
    Node,
    Paragraph,
    Table,
    Value,
    joined,
    say,
)
from winchsim.report.json_out import facts
from winchsim.report.json_text import document
from winchsim.report.render.options import sentence_text
from winchsim.report.words import advice
from winchsim.report.words import builds as words
from winchsim.report.words.details import check_table
from winchsim.report.words.outcome import outcome
from winchsim.report.words.sizing import bound_by, time_or_end
from winchsim.report.words.values import MARKS
from winchsim.scenario.read import Scenario
from winchsim.studies.choose import Choice
from winchsim.studies.sweep import rows_csv


def verdict(found: Choice) -> Any:
    """The best build in a sentence, and what becomes of the load."""
    if not found.builds:
        return say("No build from these parts could be simulated.")
    start = "Take {}." if found.exit_code == 0 else "No build meets the limits. Nearest: {}."
    return joined([say(start, words.parts(found.builds[0])), outcome(found.found[0])])


def choice_document(found: Choice, scenario: Scenario, options: Sequence[str] = ()) -> Document:
    """Document of a choice.

    Parameters
    ----------
    found : Choice
    scenario : Scenario
    options : sequence of str
        Words of the command behind the file.
    """
    best = found.found[0] if found.found else None
    mark, count = frame.of_checks(best)
    aim = "lift time" if found.fastest else "room to the nearest limit"
    which = "those estimated to be fastest" if found.fastest else "spread over the starting margin"
    which = f" ({which})" if found.tried < found.possible else ""
    counted = say(
        f"{found.tried} of {found.possible} possible builds{which} tried by the quasi-static "
        f"model; no check fails for {found.sound} of them. Fewest thin checks first, then by {aim}."
    )
    checks = check_table(() if best is None else best.checks, all_rows=True)
    sections: dict[str, tuple[Node, ...]] = {
        "Gears of the best build": (_gears(found),),
        "Its checks": (checks,),
        "Cautions": (frame.cautions(best),),
    }
    body: tuple[Node, ...] = (
        frame.headline(mark, count, verdict(found), scenario.name),
        _table(found),
        *(() if best is None else advice.actions(best)),
        Paragraph(counted, faint=True),
        advice.closing(best),
        *frame.details(sections),
    )
    command = shlex.join(["winchsim", "choose", scenario.name, *options, "--full"])
    return Document(scenario.inputs.title or scenario.name, scenario.name, body, command)


def _table(found: Choice) -> Table:
    chosen: dict[str, list[Cell]] = {
        "gears": [words.train(build) for build in found.builds],
        "ratio": [Value(build.value) if build.train else "" for build in found.builds],
        "motors": [words.motors(build) for build in found.builds],
        "drum": [Value(b.drum.diameter, "mm") if b.drum else "" for b in found.builds],
        "rope": [Value(b.rope.diameter, "mm") if b.rope else "" for b in found.builds],
    }
    chosen = {name: cells for name, cells in chosen.items() if any(cells)}
    rows: list[tuple[Cell, ...]] = [
        (
            *(cells[place] for cells in chosen.values()),
            time_or_end(found.full, place),
            MARKS[found.full.status(place)],
            bound_by(found.full, place),
        )
        for place in range(len(found.builds))
    ]
    return Table((*chosen, "time", "status", "bound by"), tuple(rows), name="builds")


def _gears(found: Choice) -> Table:
    columns = (
        "stage", "teeth", "module", "ratio",
        "centre distance", "pinion", "gear",
    )  # fmt: skip
    rows: list[tuple[Cell, ...]] = [
        (
            str(place),
            f"{pair[0].teeth}:{pair[1].teeth}",
            Value(pair[0].module, "mm"),
            Value(pair[1].teeth / pair[0].teeth),
            Value(words.centre_distance(pair), "mm"),
            *(gear.material or "" for gear in pair),
        )
        for place, pair in enumerate(found.builds[0].train if found.builds else (), start=1)
    ]
    return Table(columns, tuple(rows), name="pairs")


def choice_rows(found: Choice) -> list[dict[str, Any]]:
    """The best builds as plain values."""
    rows = []
    for build, row in zip(found.builds, found.full.rows(), strict=True):
        own = {
            "build": sentence_text(words.parts(build)),
            "ratio": build.value,
            "gears": words.train(build) or None,
            "motors": words.motors(build) or None,
            "drum_diameter_m": None if build.drum is None else build.drum.diameter,
            "rope_diameter_m": None if build.rope is None else build.rope.diameter,
        }
        rows.append({**own, **row})
    return rows


def choice_json(found: Choice, scenario: Scenario) -> str:
    """JSON text of a choice."""
    return document(
        digest=scenario.digest,
        verdict=sentence_text(verdict(found)),
        cautions=list(advice.CAUTIONS.values()),
        rows=choice_rows(found),
        command="choose",
        tried=found.tried,
        possible=found.possible,
        no_check_fails=found.sound,
        fastest=found.fastest,
        centre_distances_m=[
            [words.centre_distance(pair) for pair in build.train] for build in found.builds
        ],
        checks=facts(found.found[0].checks) if found.found else [],
    )


def choice_csv(found: Choice) -> str:
    """The best builds as CSV text."""
    return rows_csv(choice_rows(found))
