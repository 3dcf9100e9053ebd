"""Lesson 09: what is lost where over many batches, what changed when, and how not to be fooled by noise or by another recipe."""

from math import sqrt

from kit.batches import i_mr
from kit.batches.constants import constants
from kit.batches.costs import pareto, recoverable
from kit.batches.drivers import shared_error_correlation
from kit.batches.power import batches_needed
from kit.batches.rules import USUAL, together
from kit.lab.lessons import Exercise, Guess
from kit.reading.plant import demo_analysis
from kit.working import step, steps_of

BASELINE = 30
"""batches from which the limits come, as in the control panel"""
PRICES = {"meat": 4.0, "water": 0.8}
"""invented, as in the cost panel"""


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
    mean, mr = cook.centre[0], float(cook.spread_centre[0])
    r = judged.residuals[0]
    start = r.recipe_changes[0]
    weighed = [float(part.mean()) for part in (r.weighed_pct[:start], r.weighed_pct[start:])]
    expected = [float(r.expected_pct[k]) for k in (0, -1)]
    bars = {b.name: b.kg for b in pareto(table).bars}
    back = recoverable(judged.findings.cleaned, "stuff")
    sd = judged.line("stuff").changes.sigma

    def upper():
        answer = mean + 3 * mr / constants(2).d2
        return answer, (
            step(
                "upper limit",
                "U = m + 3 × R / d",
                answer,
                "%",
                m=(mean, "%", "mean"),
                R=(mr, "%", "mean moving range"),
                d=(constants(2).d2, "", "d2 for two values"),
            ),
        )

    one = together(120, USUAL, BASELINE)

    def three_charts():
        answer = false_pct(3)
        return answer, (
            step(
                "at least one of three",
                "a = 100 × (1 − (1 − p) ^ 3)",
                answer,
                "of 100",
                p=(one, "", "chance of one chart"),
            ),
        )

    def left_over():
        answer = (weighed[1] - weighed[0]) - (expected[1] - expected[0])
        return answer, (
            step(
                "what the recipe does not explain",
                "r = (w − v) − (e − f)",
                answer,
                "points",
                w=(weighed[1], "%", "weighed with recipe B"),
                v=(weighed[0], "%", "weighed with recipe A"),
                e=(expected[1], "%", "expected of B"),
                f=(expected[0], "%", "expected of A"),
            ),
        )

    def dearer():
        answer = bars["trim"] * PRICES["meat"] / bars["cook"]
        return answer, (
            step(
                "price at which both cost the same",
                "W = T × P / C",
                answer,
                "money",
                T=(bars["trim"], "kg", "lost in trim"),
                P=(PRICES["meat"], "money/kg", "price of meat"),
                C=(bars["cook"], "kg", "lost in cook"),
            ),
        )

    def how_many():
        found = batches_needed(0.2, sd)
        return found.exact, found.working

    def won_back():
        return back.kg, steps_of(back.working, "gap", "beyond luck", "kilograms")

    def ratios():
        v = (1.0, 1.0, 2.0)
        answer = shared_error_correlation(*v)
        return answer, (
            step(
                "correlation out of nothing",
                "r = c ^ 2 / √((a ^ 2 + c ^ 2) × (b ^ 2 + c ^ 2))",
                answer,
                "",
                a=(v[0], "%", "scatter of the first top"),
                b=(v[1], "%", "scatter of the second"),
                c=(v[2], "%", "scatter of the weight they share"),
            ),
        )

    return (
        Exercise(
            f"The first {BASELINE} batches lose {mean:.2f} % in the cook; the mean of their moving ranges is {mr:.2f}. Where is the upper limit of the chart, in %?",
            "%",
            upper,
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
            three_charts,
            1.2,
            ("First the chance that all three stay silent.", f"(1 − {one:.2f}) to the power of 3."),
            (("that is one chart alone; three have three chances.", false_pct),),
        ),
        Exercise(
            f"From recipe A to recipe B the weighed cook yield goes from {weighed[0]:.2f} to {weighed[1]:.2f} %. The chain expects {expected[0]:.2f} of A and {expected[1]:.2f} of B. "
            "By how many points did the yield change for other reasons than the recipe?",
            "points",
            left_over,
            0.03,
            (
                "How far did it move, and how far should it have moved?",
                "Weighed step less expected step; mind the signs.",
            ),
            (
                (
                    "that is the whole step; the recipe's own part is still in it.",
                    lambda: weighed[1] - weighed[0],
                ),
                (
                    "that is the level of B against the chain, which is not calibrated to this plant. Take steps.",
                    lambda: weighed[1] - expected[1],
                ),
            ),
        ),
        Exercise(
            f"Trim lost {bars['trim']:.0f} kg of meat, worth {PRICES['meat']:g} a kg; the cook lost {bars['cook']:.0f} kg of water. At what price of a kg of that water do both cost the same? (Invented prices.)",
            "money",
            dearer,
            0.02,
            ("What did the trim cost in all?", "Divide that by the kilograms of the cook."),
            (
                (
                    "the other way round: the cook loses more kilograms, so its price must be the lower one.",
                    lambda: bars["cook"] * PRICES["meat"] / bars["trim"],
                ),
            ),
        ),
        Exercise(
            f"The loss at stuffing scatters by {sd:.2f} points from batch to batch. About how many batches before, and again after a repair, does it take to see a change of 0.2 points with a chance of 80 of 100?",
            "batches",
            how_many,
            1.5,
            (
                "The change in standard deviations is what counts.",
                "About 16 / d² on each side, with d = change / scatter.",
            ),
            (
                (
                    "that is for one mean against a known level; both sides are unsure, so it takes twice as many.",
                    lambda: batches_needed(0.2, sd).exact / 2,
                ),
            ),
        ),
        Exercise(
            f"Stuffing lost {back.mean_pct:.3f} % in the mean and {back.best_pct:.3f} % in its best stable quarter; luck alone makes the best quarter look {back.luck_points:.3f} points better. "
            f"{100 * back.kg / back.points:,.0f} kg went through. How many kg lie beyond luck?",
            "kg",
            won_back,
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
        Exercise(
            "Two ratios share one weight below the line, such as loss over cooked weight and fat over cooked weight. The two tops are unrelated and scatter by 1 % each, the shared weight by 2 %. "
            "What correlation do the ratios show, out of nothing?",
            "",
            ratios,
            0.01,
            ("Only the shared weight moves both.", "2² / √((1² + 2²) × (1² + 2²))."),
            (
                (
                    "the tops are unrelated, but the ratios are not: the shared weight moves both.",
                    lambda: 0.0,
                ),
                ("take variances, not standard deviations.", lambda: 2 / sqrt(9)),
            ),
        ),
    )
