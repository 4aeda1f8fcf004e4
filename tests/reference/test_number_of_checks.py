"""How many checks against outside sources there are, those from memory counted apart."""

import subprocess
import sys
from pathlib import Path

import pytest


def collected(mark: str) -> int:
    """Cases of this folder that a mark expression selects."""
    here = Path(__file__).parent
    options = ["--collect-only", "-qq", "-m", mark, "-p", "no:cacheprovider"]
    command = [sys.executable, "-m", "pytest", *options, str(here)]
    found = subprocess.run(command, capture_output=True, text=True, cwd=here.parents[1], check=True)
    return sum(
        int(line.rsplit(": ", 1)[1]) for line in found.stdout.splitlines() if ".py: " in line
    )


@pytest.mark.slow
def test_at_least_three_hundred_checks_read_and_few_from_memory():
    read, recalled = collected("reference and not memory"), collected("reference and memory")
    print(f"{read} read, {recalled} from memory")
    assert read >= 300
    assert recalled <= read / 6
