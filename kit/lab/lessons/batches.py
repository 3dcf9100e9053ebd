"""Lesson 09: what is lost where over many batches, what changed when, and how not to be fooled by noise or by another recipe."""

from random import Random

from kit.batches import i_mr
from kit.batches.change import change_points
from kit.batches.constants import constants
from kit.batches.costs import recoverable
from kit.batches.rules import USUAL, together
from kit.lab.lessons import Exercise, Guess
from kit.reading.plant import demo_analysis
from kit.working import steps_from, steps_of

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
    return Guess(
        f"A stable plant charts the cook loss of 120 batches, with limits from the first {BASELINE}. A point is out of control beyond 3 sigma, or as the eighth in a row on one side. "
        "In how many of 100 such plants is at least one point out of control (a false alarm)?",
        "of 100",
        false_pct,
        8,
    )


def exercises() -> tuple[Exercise, ...]:
    judged, table = demo_analysis().analysis, demo_analysis().table
    cook = i_mr(table.loss_pct[:BASELINE, table.place("cook")], unit="%")
    mean, mr, d2 = cook.centre[0], float(cook.spread_centre[0]), constants(2).d2
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

    def worked(what: str, formula: str, unit: str):
        working = steps_from(known, (what, formula, unit))
        return lambda: (working[0].answer, working)

    return (
        Exercise(
            f"The first {BASELINE} batches have a mean cook loss of {mean:.2f} %; the mean of their moving ranges is {mr:.2f}. What is the upper control limit, in %?",
            "%",
            worked("upper limit", "U = m + 3 × R / d", "%"),
            0.02,
            (
                "The mean moving range of two values is d2 = 1.128 standard deviations.",
                "Mean + 3 × range / 1.128.",
            ),
            (
                (
                    "three mean ranges are not three sigma: divide by 1.128 first.",
                    lambda: mean + 3 * mr,
                ),
            ),
        ),
        Exercise(
            f"One such chart of a stable stage gives a false alarm with a probability of {one:.2f}. A plant charts three stable stages. In how many of 100 such plants does at least one chart give a false alarm?",
            "of 100",
            worked("at least one of three", "a = 100 × (1 − (1 − p) ^ 3)", "of 100"),
            1.2,
            (
                "First the probability that none of the three gives an alarm.",
                f"(1 − {one:.2f}) to the power of 3.",
            ),
            (("that is the probability for one chart; there are three.", false_pct),),
        ),
        Exercise(
            f"From recipe A to recipe B the weighed cook yield changes from {a:.2f} to {b:.2f} %. The batch model predicts {expected_a:.2f} of A and {expected_b:.2f} of B. "
            "By how many percentage points did the yield change for reasons other than the recipe?",
            "percentage points",
            worked("what the recipe does not explain", "r = (w − v) − (e − f)", "points"),
            0.03,
            (
                "How far did the yield change, and how far should it have changed?",
                "Weighed change minus expected change; mind the signs.",
            ),
            (
                ("that is the whole change; it includes the effect of the recipe.", lambda: b - a),
                (
                    "that is the level of B against the batch model, which is not calibrated to this plant. Use the changes.",
                    lambda: b - expected_b,
                ),
            ),
        ),
        Exercise(
            f"Stuffing lost {back.mean_pct:.3f} % on average and {back.best_pct:.3f} % in its best stable run (25 % of the batches); random variation alone makes the best run look {back.luck_points:.3f} percentage points better. "
            f"{100 * back.kg / back.points:,.0f} kg were stuffed. How many kg are recoverable?",
            "kg",
            lambda: (back.kg, steps_of(back.working, "gap", "recoverable", "kilograms")),
            2,
            (
                "Difference from the best stable run, minus the part from random variation.",
                "Then percent of the weight stuffed.",
            ),
            (
                (
                    "the best run of a stable plant is better by random variation alone; subtract that.",
                    lambda: back.kg * back.gap_points / back.points,
                ),
            ),
        ),
    )
