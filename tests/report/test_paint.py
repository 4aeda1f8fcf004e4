"""When text is coloured."""

import pytest

from winchsim.report.render.options import painted, use_colour


@pytest.mark.parametrize(
    ("choice", "environ", "is_terminal", "coloured"),
    [
        ("auto", {}, True, True),
        ("auto", {}, False, False),
        ("auto", {"NO_COLOR": "1"}, True, False),
        ("auto", {"NO_COLOR": ""}, True, True),
        ("auto", {"FORCE_COLOR": "1"}, False, True),
        ("auto", {"NO_COLOR": "1", "FORCE_COLOR": "1"}, True, False),
        ("auto", {"TERM": "dumb"}, True, False),
        ("always", {"NO_COLOR": "1"}, False, True),
        ("never", {"FORCE_COLOR": "1"}, True, False),
    ],
)
def test_who_decides(choice, environ, is_terminal, coloured):
    assert use_colour(choice, environ, is_terminal) is coloured


def test_off_changes_nothing():
    assert painted("bad", "text", False) == "text"
    assert painted("bad", "text", True) == "\033[1;31mtext\033[0m"
    assert painted("good", "", True) == ""
