"""Where the shipped scenarios are."""

from pathlib import Path

FOLDER = Path(__file__).parents[1] / "scenarios"
SCENARIOS = sorted(FOLDER.glob("*.toml"))
