"""Lesson 09: what is lost where over many batches, what changed when, and how not to be fooled by noise or by another recipe."""

from random import Random

from kit.batches import i_mr
from kit.batches.change import change_points
from kit.batches.constants import D2
from kit.batches.costs import recoverable
from kit.batches.rules import USUAL, together
from kit.lab.lessons import Exercise, Guess, exercise, guess_of
from kit.reading.plant import demo_analysis
from kit.working import steps_of

BASELINE = 30
"""batches from which the limits come, as in the control panel"""


def false_pct(charts: int = 1) -> float:
    """Of 100 plants where nothing is wrong: in how many at least one of so many charts of 120 batches gives an alarm."""
    return 100 * (1 - (1 - together(120, USUAL, BASELINE)) ** charts)


def step_in_noise(series: int, batches: int, step: float) -> str:
    """Invented losses in standard deviations with a step after the first half: what is called bad batch by batch, and what the search finds."""
    noise = Random(series)
    losses = [noise.gauss(0, 1) + step * (n > batches // 2) for n in range(1, batches + 1)]
    found = [start + 1 for start in change_points(losses).starts]
    what = f"a step of {step:g} from batch {batches // 2 + 1}" if step else "nothing is wrong"
    called = sum(abs(loss) > 2 for loss in losses)
    return f"{batches} batches, {what}: {called} beyond 2; new level from batch: {found or 'none'}"


def planted() -> str:
    """What was put into the invented records, and what the kit finds of it."""
    found = demo_analysis().analysis
    changed = ", ".join(str(start + 1) for start in found.residuals[0].recipe_changes)
    put = f"a leaking stuffer, a drop of humidity in one smokehouse, and another recipe from batch {changed} on"
    return "\n".join([put, *(f"found: {one.sentence}" for one in found.findings.findings)])


def guess() -> Guess:
    return guess_of("09 guess", {"baseline": BASELINE}, false_pct)


def exercises() -> tuple[Exercise, ...]:
    judged, table = demo_analysis().analysis, demo_analysis().table
    cook = i_mr(table.loss_pct[:BASELINE, table.place("cook")], unit="%")
    mean, mr, d2 = cook.phases[0].centre, cook.ranges.phases[0].centre, D2
    limits = {"U": mean + 3 * mr / d2, "m": mean, "R": mr, "d": d2, "baseline": BASELINE}
    alarms = {"a": false_pct(3), "p": together(120, USUAL, BASELINE)}
    r = judged.residuals[0]
    start = r.recipe_changes[0]
    v, w = (float(part.mean()) for part in (r.weighed_pct[:start], r.weighed_pct[start:]))
    f, e = (float(r.expected_pct[k]) for k in (0, -1))
    recipe = {"r": (w - v) - (e - f), "w": w, "v": v, "e": e, "f": f}
    back = recoverable(judged.findings.cleaned, "stuff")
    run = {"mean_pct": back.mean_pct, "best_pct": back.best_pct, "luck_points": back.luck_points}
    run["points"] = 100 * back.kg / back.points
    return (
        exercise("09 upper limit", limits, lambda: mean + 3 * mr),
        exercise("09 false alarms", alarms, false_pct),
        exercise("09 recipe", recipe, lambda: w - v, lambda: w - e),
        exercise(
            "09 recoverable",
            run,
            lambda: back.kg * back.gap_points / back.points,
            working=lambda: steps_of(back.working, "gap", "recoverable", "kilograms"),
        ),
    )
