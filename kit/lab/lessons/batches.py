"""Lesson 09: what is lost where over many batches, what changed when, and how not to be fooled by noise or by another recipe."""

from random import Random

from kit.batches import i_mr
from kit.batches.change import change_points
from kit.batches.constants import D2
from kit.batches.costs import recoverable
from kit.batches.rules import USUAL, together
from kit.lab.lessons import Exercise, Guess, exercise, guess_of, worked
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
    return guess_of("09 guess", false_pct, baseline=BASELINE)


def exercises() -> tuple[Exercise, ...]:
    judged, table = demo_analysis().analysis, demo_analysis().table
    cook = i_mr(table.loss_pct[:BASELINE, table.place("cook")], unit="%")
    mean, mr, d2 = cook.phases[0].centre, cook.ranges.phases[0].centre, D2
    one = together(120, USUAL, BASELINE)
    r = judged.residuals[0]
    start = r.recipe_changes[0]
    a, b = (float(part.mean()) for part in (r.weighed_pct[:start], r.weighed_pct[start:]))
    expected_a, expected_b = (float(r.expected_pct[k]) for k in (0, -1))
    back = recoverable(judged.findings.cleaned, "stuff")
    known = {
        "U": mean + 3 * mr / d2,
        "m": (mean, "%", "mean"),
        "R": (mr, "%", "mean moving range"),
        "d": (d2, "", "d2 for two values"),
        "a": false_pct(3),
        "p": (one, "", "chance of one chart"),
        "r": (b - a) - (expected_b - expected_a),
        "w": (b, "%", "weighed with recipe B"),
        "v": (a, "%", "weighed with recipe A"),
        "e": (expected_b, "%", "expected of B"),
        "f": (expected_a, "%", "expected of A"),
    }

    return (
        exercise(
            "09 upper limit",
            worked(known, ("upper limit", "U = m + 3 × R / d", "%")),
            lambda: mean + 3 * mr,
            baseline=BASELINE,
            mean=mean,
            mr=mr,
        ),
        exercise(
            "09 false alarms",
            worked(known, ("at least one of three", "a = 100 × (1 − (1 − p) ^ 3)", "of 100")),
            false_pct,
            one=one,
        ),
        exercise(
            "09 recipe",
            worked(known, ("what the recipe does not explain", "r = (w − v) − (e − f)", "points")),
            lambda: b - a,
            lambda: b - expected_b,
            a=a,
            b=b,
            expected_a=expected_a,
            expected_b=expected_b,
        ),
        exercise(
            "09 recoverable",
            lambda: (back.kg, steps_of(back.working, "gap", "recoverable", "kilograms")),
            lambda: back.kg * back.gap_points / back.points,
            mean_pct=back.mean_pct,
            best_pct=back.best_pct,
            luck_points=back.luck_points,
            points=100 * back.kg / back.points,
        ),
    )
