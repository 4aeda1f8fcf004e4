#!/usr/bin/env python3
"""How much of each room the tests reach, in lines and in branches; fails where a room of LEAST is
at or below it.

Called with the file of ``coverage json``.
"""

import json
import sys
from collections import defaultdict
from pathlib import PurePath

LEAST = {"physics": 95.0, "strength": 95.0}
"""Share of the lines, and share of the branches, that must be passed in a room. [%]"""

KINDS = {
    "lines": ("covered_lines", "num_statements"),
    "branches": ("covered_branches", "num_branches"),
}


def rooms(files: dict) -> dict:
    """Counts of each room, by its name below the package: ``{"physics": {"lines": [reached, all],
    ...}, ...}``."""
    found = defaultdict(lambda: {kind: [0, 0] for kind in KINDS})
    for path, told in files.items():
        room = PurePath(path).parts[1].removesuffix(".py")
        for name in (room, "all"):
            for kind, keys in KINDS.items():
                for place, key in enumerate(keys):
                    found[name][kind][place] += told["summary"][key]
    return found


def share(reached: int, there: int) -> float:
    """Share in per cent; all of nothing is everything."""
    return 100.0 * reached / there if there else 100.0


def main() -> int:
    """Print the table; 1 where a room falls short."""
    with open(sys.argv[1], encoding="utf-8") as file:
        counted = rooms(json.load(file)["files"])
    print(f"{'room':16}{'lines':>16}{'branches':>18}")
    short = []
    for room, kinds in sorted(counted.items(), key=lambda item: (item[0] == "all", item[0])):
        cells = [f"{share(*kinds[kind]):6.1f} % of {kinds[kind][1]:5}" for kind in KINDS]
        print(f"{room:16}{cells[0]:>16}{cells[1]:>18}")
        short += [
            f"{room}: {kind}" for kind in KINDS if share(*kinds[kind]) <= LEAST.get(room, -1.0)
        ]
    missing = sorted(set(LEAST) - set(counted))
    for problem in [*short, *(f"{room}: not measured" for room in missing)]:
        print(
            f"too little of {problem}; it must be more than {LEAST[problem.partition(':')[0]]:g} %",
            file=sys.stderr,
        )
    return 1 if short or missing else 0


if __name__ == "__main__":
    sys.exit(main())
