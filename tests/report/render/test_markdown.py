"""Exact Markdown of a small document."""

import pytest

from winchsim.report.render.markdown import fenced, render_markdown
from winchsim.report.render.options import Options

EXPECTED = """\
# Crate \\& Co

crate.toml

**THIN 1 of 3** Lifts 14 kg by 0.6 m \\<b\\>\\*now\\*\\</b\\>.

crate.toml · not rated

| quantity | value | range | limit | status |
| --- | --- | --- | --- | --- |
| lift time | 28 s | 26 to 33 |  | ok |
| holding margin | 1.15 × | 0.95 to 1.40 | 1 | thin |
| speed \\| odd | 21.3 mm/s |  |  | ok |

**If it jams:** the shaft breaks first.

1. Fit a brake.
2. Less load.

Keep clear.

![The build](build.png)

Gears to scale.

## Findings

- **thin** The rope bends tightly. Action: A thicker drum.

## Notes

- A long note that has to be wrapped before the number 1230 N at its end.

## File

````toml
a = '<1>'
``` b
````
"""


def test_markdown(document):
    assert render_markdown(document, Options(figures={"build": "build.png"})) == EXPECTED


@pytest.mark.parametrize("text", ["", "`", "```", "a\n````\nb"])
def test_a_fence_is_longer_than_any_in_the_text(text):
    fence = fenced(text).split("\n")[0]
    assert fence not in text and fenced(text).endswith(fence)
