"""Lesson 09: what is lost where over many batches, what changed when, and how not to be fooled by noise or by another recipe."""

from kit.batches import i_mr
from kit.batches.constants import constants
from kit.batches.costs import recoverable
from kit.batches.rules import USUAL, together
from kit.lab.lessons import Exercise, Guess
from kit.reading.plant import demo_analysis
from kit.working import steps_from, steps_of

BASELINE = 30
"""batches from which the limits come, as in the control panel"""


def false_pct(charts: int = 1) -> float:
    """Of 100 plants where nothing is wrong: in how many at least one of so many charts of 120 batches speaks."""
    return 100 * (1 - (1 - together(120, USUAL, BASELINE)) ** charts)


def guess() -> Guess:
    return Guess(
        f"A plant in which nothing changes charts the cook loss of 120 batches, with limits from the first {BASELINE}. It looks for a batch beyond 3 sigma and for 8 in a row on one side. "
        "In how many of 100 such plants does a rule speak all the same?",
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
            f"The first {BASELINE} batches lose {mean:.2f} % in the cook; the mean of their moving ranges is {mr:.2f}. Where is the upper limit of the chart, in %?",
            "%",
            worked("upper limit", "U = m + 3 × R / d", "%"),
            0.02,
            (
                "A moving range of two values is, in the mean, d2 = 1.128 standard deviations.",
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
            f"One such chart speaks on pure noise with a chance of {one:.2f}. A plant charts three stages in which nothing is wrong. In how many of 100 such plants does at least one chart speak?",
            "of 100",
            worked("at least one of three", "a = 100 × (1 − (1 − p) ^ 3)", "of 100"),
            1.2,
            ("First the chance that all three stay silent.", f"(1 − {one:.2f}) to the power of 3."),
            (("that is one chart alone; three have three chances.", false_pct),),
        ),
        Exercise(
            f"From recipe A to recipe B the weighed cook yield goes from {a:.2f} to {b:.2f} %. The chain expects {expected_a:.2f} of A and {expected_b:.2f} of B. "
            "By how many points did the yield change for other reasons than the recipe?",
            "points",
            worked("what the recipe does not explain", "r = (w − v) − (e − f)", "points"),
            0.03,
            (
                "How far did it move, and how far should it have moved?",
                "Weighed step less expected step; mind the signs.",
            ),
            (
                ("that is the whole step; the recipe's own part is still in it.", lambda: b - a),
                (
                    "that is the level of B against the chain, which is not calibrated to this plant. Take steps.",
                    lambda: b - expected_b,
                ),
            ),
        ),
        Exercise(
            f"Stuffing lost {back.mean_pct:.3f} % in the mean and {back.best_pct:.3f} % in its best stable quarter; luck alone makes the best quarter look {back.luck_points:.3f} points better. "
            f"{100 * back.kg / back.points:,.0f} kg went through. How many kg lie beyond luck?",
            "kg",
            lambda: (back.kg, steps_of(back.working, "gap", "recoverable", "kilograms")),
            2,
            (
                "Gap to the best quarter, less what luck gives.",
                "Then percent of what went through.",
            ),
            (
                (
                    "the best quarter of a steady plant is better by luck alone; take that off.",
                    lambda: back.kg * back.gap_points / back.points,
                ),
            ),
        ),
    )
