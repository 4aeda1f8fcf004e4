"""The notebook of a lesson runs from end to end and draws its figures."""

import json
from pathlib import Path

import numpy as np
from matplotlib import pyplot as plt

PLOTS = Path(__file__).parents[1] / "plots"


def test_every_cell_runs_and_the_figures_show_what_the_text_asks_for(monkeypatch, capsys):
    cells = json.loads((PLOTS / "lesson.ipynb").read_text(encoding="utf-8"))["cells"]
    monkeypatch.chdir(PLOTS)
    names: dict[str, object] = {}
    with plt.rc_context({"backend": "agg"}):
        for cell in cells:
            if cell["cell_type"] == "code":
                exec("".join(cell["source"]), names)
        time, current = (line.get_ydata() for axes in names["figure"].axes for line in axes.lines)
        plt.close("all")
    shown = capsys.readouterr().out
    assert "Keep the area below clear" in shown and "of the power at the motors" in shown
    assert 0.1 < float(np.median(names["lifting"] / names["electric"])) < 0.9
    assert 0 < int(np.argmin(time)) < len(time) - 1, "there is a best diameter inside the curve"
    assert np.all(np.diff(current) > 0), "a thicker drum asks for more current"
    assert not names["reached"].all(), "the thickest drums stall"
