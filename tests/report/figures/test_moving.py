"""The moving picture: as many pictures as the lift lasts, and what they show."""

import io
import math

import numpy as np
import pytest
from PIL import Image

from winchsim.errors import DomainError
from winchsim.report.figures.look import COLUMN
from winchsim.report.figures.moving import RATE, WRITERS, film
from winchsim.report.figures.plan import gear_turns, plan_of


def test_a_film_lasts_as_long_as_the_lift_and_moves(lift):
    picture = Image.open(io.BytesIO(film(lift, COLUMN, "gif", 8.0)))
    assert picture.n_frames == math.ceil((lift.time[-1] - lift.time[0]) / 8 * RATE) + 1
    assert picture.info["duration"] == pytest.approx(1000 / RATE, abs=10)
    seen = []
    for place in (0, picture.n_frames // 2):
        picture.seek(place)
        seen.append(np.asarray(picture.convert("L"), dtype=float))
    assert np.abs(seen[0] - seen[1]).sum() > 0


def test_gears_turn_as_their_teeth_say(scenario):
    """Mesh by mesh the turns are as the teeth the other way round, and against each other."""
    plan = plan_of(scenario)
    ratios = gear_turns(plan, scenario)
    assert [r for gear, r in zip(plan.gears, ratios, strict=True) if gear.shaft == 3] == [1.0]
    motors = [r for gear, r in zip(plan.gears, ratios, strict=True) if gear.shaft == -1]
    assert motors == pytest.approx([4.0**3 * 3.0] * 3)


def test_what_cannot_be_filmed_says_so(lift, monkeypatch):
    with pytest.raises(DomainError, match="or more"):
        film(lift, COLUMN, "gif", 0.01)
    monkeypatch.setattr(WRITERS["mp4"], "isAvailable", classmethod(lambda _: False))
    with pytest.raises(DomainError, match="no encoder"):
        film(lift, COLUMN, "mp4")
