"""``winchsim materials``: what the tables of materials, ropes and friction say, and where each
value is from."""

import argparse

from winchsim.commands.call import Env, ExitCode, present
from winchsim.report.json_text import document
from winchsim.report.materials import Row, chosen_rows, detail, overview, row_facts
from winchsim.scenario.materials_table import load_friction_pairs, load_materials, load_ropes


def run(options: argparse.Namespace, env: Env) -> int:
    """Print the tables, or the rows that were named."""
    materials, ropes, pairs = load_materials(), load_ropes(), load_friction_pairs()
    everything: list[Row] = [*materials.values(), *ropes.values(), *pairs]
    rows = chosen_rows(everything, options.names) if options.names else everything
    shown = detail(rows) if options.names or options.units == "us" else overview(rows)
    present(options, env, shown, lambda: document(rows=[row_facts(row) for row in rows]))
    return ExitCode.GOOD
