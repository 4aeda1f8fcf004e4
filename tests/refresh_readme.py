"""Regenerates all that README shows of results: ``python tests/refresh_readme.py``.

It writes the story's sheets (`tests/story.py`), runs README's commands in a scratch folder, copies the figures to
``plots/``, and puts the new numbers into README: what the commands print, the table of verdicts, the story's numbers and
the Python example. Sentences whose words change, and what a caption says of a figure, are edited by hand: afterwards
``pytest tests/test_readme.py`` names what does not agree.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Mapping
from difflib import SequenceMatcher
from pathlib import Path

import story
import test_readme as readme

NUMBER = re.compile(r"\d+(?:\.\d+)?(?:e[+-]?\d+)?")
ALIKE = 0.7
"""Least similarity of a new line to the one whose place it takes."""


def with_printed(text: str, ran: Mapping[str, readme.Ran]) -> str:
    """A README whose blocks show what its commands print now."""

    def block(match: re.Match) -> str:
        lines: list[str] = []
        printed: list[str] = []
        gap = True
        for line in match[1].splitlines():
            if line.startswith("$ "):
                printed, gap = list(ran[line[2:]].lines), False
            elif line == readme.LEFT_OUT:
                gap = True
            else:
                line, printed, gap = (*_next_line(line, printed, gap), False)
            lines.append(line)
        return "```console\n" + "".join(f"{line}\n" for line in lines) + "```"

    return re.sub(r"^```console\n(.*?)^```$", block, text, flags=re.MULTILINE | re.DOTALL)


def _next_line(line: str, printed: list[str], gap: bool) -> tuple[str, list[str]]:
    """The printed line that takes the place of one that is shown, and what is printed behind it."""
    choice = range(len(printed) if gap else min(1, len(printed)))
    likeness = [(round(SequenceMatcher(None, _words(line), _words(printed[k])).ratio(), 2), k) for k in choice]
    best, at = max(likeness, default=(0.0, 0))  # of equal rows the last: that of the target
    if best < ALIKE and line:
        print(f"README: nothing printed is like {line!r}", file=sys.stderr)
        return line, printed
    return printed[at], printed[at + 1 :]


def _words(line: str) -> str:
    return " ".join(NUMBER.sub("#", line).split())


def with_numbers(text: str, claim: str) -> str:
    """A README with a passage's numbers in it; its words must stand there."""
    wanted = iter(NUMBER.findall(claim))
    gaps = [re.sub(r"(?:\\ )+", r"\\s+", re.escape(part)) for part in NUMBER.split(claim)]
    passage = re.compile(NUMBER.pattern.join(gaps))
    return passage.sub(lambda match: NUMBER.sub(lambda _: next(wanted), match[0]), text, count=1)


def python_example(text: str) -> str:
    """A README with what its Python example prints now."""
    ((_, code),) = readme.blocks(text, "python")
    done = subprocess.run([sys.executable, "-c", "\n".join(code)], cwd=readme.ROOT, capture_output=True, text=True, check=True)
    return re.sub(r"^```text\n.*?^```$", lambda _: f"```text\n{done.stdout}```", text, flags=re.MULTILINE | re.DOTALL)


def main() -> None:
    """Rewrite sheets, figures and README."""
    story.main()
    text = python_example(readme.README)
    with tempfile.TemporaryDirectory() as folder:
        shutil.copytree(readme.ROOT / "scenarios", Path(folder) / "scenarios")
        before = Path.cwd()
        os.chdir(folder)
        ran, sentences, claims = readme.run_all(), readme.first_sentences(), readme.read_story().claims
        for path in (*Path("plots").iterdir(), *Path("tuned").glob("measured-predicted.*")):
            shutil.copy(path, readme.ROOT / "plots" / path.name)
        os.chdir(before)
    text = with_printed(text, ran)
    for claim in claims:
        text = with_numbers(text, claim)
    rows = "".join(f"| `{path}` | {sentence} |\n" for path, sentence in sentences.items())
    text = re.sub(r"(?:^\| `scenarios/.*\|\n)+", lambda _: rows, text, flags=re.MULTILINE)
    (readme.ROOT / "README.md").write_text(text, encoding="utf-8")


if __name__ == "__main__":
    main()
