"""A small runner for switched ordinary differential equations: modes, guards, switches, on scipy's solvers."""

from winchsim.hybrid.guard import Guard
from winchsim.hybrid.integrate import UNTIL, run
from winchsim.hybrid.mode import Mode, Problem
from winchsim.hybrid.outcome import Outcome, Run, Segment, Stats, Transition
from winchsim.hybrid.reset import Switch

__all__ = ["UNTIL", "Guard", "Mode", "Outcome", "Problem", "Run", "Segment", "Stats", "Switch", "Transition", "run"]
