"""Which experiment should the class run, can it see the effect, and what did it show? Stations are the unit; batters are compared inside them."""

from kit.trial.analyse import analyse
from kit.trial.design import design, power
from kit.trial.question import ask
from kit.trial.rehearse import rehearse

__all__ = ["analyse", "ask", "design", "power", "rehearse"]
