"""Lesson 09: what is lost where over many batches, what changed when, and how not to be fooled by noise or by another recipe."""

from random import Random

import pandas as pd

from kit.batches import gauge_study, i_mr, reml, xbar_r
from kit.batches.change import change_points
from kit.batches.components import components
from kit.batches.constants import constants
from kit.batches.costs import recoverable
from kit.batches.rules import USUAL, together
from kit.lab.lessons import Exercise, Guess
from kit.reading.plant import demo_analysis
from kit.tables import data_path
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


def scale_study() -> list[str]:
    """Two people, ten links, three readings each, on two invented scales: gauge R&R in words."""
    lines = []
    for scale, read in pd.read_csv(data_path("demo", "demo_scale_study.csv")).groupby("scale"):
        found = gauge_study(read["weight_g"], read["person"], read["link"])
        parts = (
            ("repeatability", found.repeatability),
            ("between people", found.operator),
            ("between links", found.part),
        )
        said = ", ".join(f"{name} {variance**0.5:.2f} g" for name, variance in parts)
        lines.append(
            f"{scale} scale: {said}; the scale makes {found.gauge_pct_of_spread:.0f} % of the standard deviation"
        )
        lines += found.notes
    return lines


def tree_charts() -> list[str]:
    """Five links of each of twenty invented smoke trees: X-bar and R charts, and variance components by two methods, in words."""
    links = pd.read_csv(data_path("demo", "demo_tree_weights.csv"))
    chart = xbar_r(links.pivot(index="tree", columns="position", values="weight_g"), unit="g")
    trees = ", ".join(str(v.at + 1) for v in chart.alarms) or "none"
    both = (
        components(links["weight_g"], {"tree": links["tree"]}, unit="g"),
        reml(links["weight_g"], {"tree": links["tree"]}),
    )
    return [
        f"X-bar: centre {chart.centre[0]:.2f} g, limits {chart.low[0]:.2f} to {chart.high[0]:.2f} g; run rules violated at tree {trees}",
        f"R: centre {chart.spread_centre[0]:.2f} g, limits {chart.spread_low[0]:.2f} to {chart.spread_high[0]:.2f} g",
        *(
            f"{found.method}: "
            + ", ".join(
                f"{part.name} {part.sd:.2f} g ({part.share_pct:.0f} %)" for part in found.components
            )
            for found in both
        ),
    ]


def planted() -> str:
    """What was put into the invented records, and what the kit finds of it."""
    found = demo_analysis().analysis
    changed = ", ".join(str(start + 1) for start in found.residuals[0].recipe_changes)
    put = f"a leaking stuffer, a drop of humidity in one smokehouse, and another recipe from batch {changed} on"
    return "\n".join([put, *(f"found: {one.sentence}" for one in found.findings.findings)])


def guess() -> Guess:
    return Guess(
        f"A plant in which nothing changes charts the cook loss of 120 batches, with limits from the first {BASELINE}. It looks for a batch beyond 3 sigma and for 8 in a row on one side. "
        "In how many of 100 such plants is a run rule violated all the same?",
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
            f"One such chart gives a false alarm with a chance of {one:.2f}. A plant charts three stages in which nothing is wrong. In how many of 100 such plants does at least one chart give an alarm?",
            "of 100",
            worked("at least one of three", "a = 100 × (1 − (1 − p) ^ 3)", "of 100"),
            1.2,
            ("First the chance that all three stay silent.", f"(1 − {one:.2f}) to the power of 3."),
            (("that is one chart alone; three have three chances.", false_pct),),
        ),
        Exercise(
            f"From recipe A to recipe B the weighed cook yield changes from {a:.2f} to {b:.2f} %. The batch model expects {expected_a:.2f} of A and {expected_b:.2f} of B. "
            "By how many percentage points did the yield change for other reasons than the recipe?",
            "percentage points",
            worked("what the recipe does not explain", "r = (w − v) − (e − f)", "points"),
            0.03,
            (
                "How far did it move, and how far should it have moved?",
                "Weighed step less expected step; mind the signs.",
            ),
            (
                ("that is the whole step; the recipe's own part is still in it.", lambda: b - a),
                (
                    "that is the level of B against the batch model, which is not calibrated to this plant. Take steps.",
                    lambda: b - expected_b,
                ),
            ),
        ),
        Exercise(
            f"Stuffing lost {back.mean_pct:.3f} % in the mean and {back.best_pct:.3f} % in its best stable run; chance alone makes that run look {back.luck_points:.3f} percentage points better. "
            f"{100 * back.kg / back.points:,.0f} kg went through. How many kg are recoverable?",
            "kg",
            lambda: (back.kg, steps_of(back.working, "gap", "recoverable", "kilograms")),
            2,
            (
                "Gap to the best stable run, less what chance gives.",
                "Then percent of what went through.",
            ),
            (
                (
                    "the best run of a steady plant is better by chance alone; subtract that.",
                    lambda: back.kg * back.gap_points / back.points,
                ),
            ),
        ),
    )
