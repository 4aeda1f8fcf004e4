"""``winchsim materials``: what the tables of materials, ropes and friction say, and where each
value is from."""

from __future__ import annotations

import argparse

from winchsim.commands.env import Env, ExitCode
from winchsim.commands.options import UNITS, Command, argument
from winchsim.report.json_text import document


def run(options: argparse.Namespace, env: Env) -> int:
    """Print the tables, or the rows that were named."""
    from winchsim.report.materials import Row, chosen_rows, detail, overview, row_facts
    from winchsim.report.render.text import render_text
    from winchsim.scenario.materials_table import load_friction_pairs, load_materials, load_ropes

    materials, ropes, pairs = load_materials(), load_ropes(), load_friction_pairs()
    everything: list[Row] = [*materials.values(), *ropes.values(), *pairs]
    rows = chosen_rows(everything, options.names) if options.names else everything
    us = options.units == "us"
    if options.json:
        env.out(document(rows=[row_facts(row) for row in rows]))
    else:
        shown = detail(rows) if options.names or us else overview(rows)
        env.out(render_text(shown, env.rendering(us=us, full=True)))
    return ExitCode.GOOD


COMMANDS = (
    Command(
        "materials",
        "show the materials, ropes and friction pairs, each value with its source",
        run,
        "winchsim materials PETG polyester",
        (
            argument("names", metavar="NAME", nargs="*", help="materials or ropes to show in full"),
            UNITS,
        ),
        "Without names: an overview. With names: every value of these, with its range and source.",
    ),
)
