"""One stage over time: is it stable, when did it change, and how many batches does it take to see a change?"""

from dataclasses import dataclass

import numpy as np

from kit import units
from kit.batches import i_mr
from kit.batches.change import Changes, change_points
from kit.batches.charts import Chart
from kit.batches.expected import counted
from kit.batches.findings import odds
from kit.batches.power import POWER, Needed, batches_needed
from kit.batches.rules import CLASSIC, USUAL
from kit.errors import need
from kit.lab.charts.batches import over_time as charts
from kit.lab.panels.batches.pieces import is_recipe, minus, recipe_starts, table, view
from kit.lab.panels.panel import Choice, Panel, Slider, View
from kit.reading.plant import Analysed, demo_analysis

LOSS, RESIDUAL = "loss as weighed", "weighed less expected yield"
SETS = {
    "beyond 3 sigma; 8 on one side": USUAL,
    "the four classic rules": CLASSIC,
    "beyond 3 sigma": ("beyond 3",),
}
ENOUGH = 20
"""batches of a baseline below which limits are rough themselves"""


@dataclass(frozen=True, eq=False)
class Watched:
    """One stage's values over the batches `at` that have one."""

    answer: Analysed
    values: np.ndarray
    at: np.ndarray
    chart: Chart
    changes: Changes
    needed: Needed


def control_panel() -> Panel:
    """A stage of the invented records, its limits from a baseline, the rules asked, and the levels found."""
    stages = (*demo_analysis().table.stages, "overall")
    controls = (
        Choice("stage", "Stage", stages, "cook", "What is charted"),
        Choice("what", "Charted is", (LOSS, RESIDUAL), LOSS, "What is charted"),
        Slider("baseline", "Baseline: the first … batches", "", 8, 120, 1, 30, "Limits and rules"),
        Choice("rules", "Rules", tuple(SETS), next(iter(SETS)), "Limits and rules"),
        Slider(
            "change", "A change worth knowing, points", "", 0.1, 3, 0.1, 0.5, "Limits of your own"
        ),
    )
    return Panel(
        "One stage: is it stable?",
        controls,
        watched,
        control_view,
        lambda system: {"control": charts.control_chart(system)},
        {
            "Take the recipe's step out": {"what": RESIDUAL},
            "Judge by eight batches": {"baseline": 8},
            "Ask every rule": {"rules": "the four classic rules"},
        },
    )


def watched(values) -> Watched:
    answer = demo_analysis()
    y = series(answer, values["stage"], values["what"])
    at = np.flatnonzero(np.isfinite(y))
    chart = i_mr(
        y[at],
        baseline=int(values["baseline"]),
        rules=SETS[values["rules"]],
        unit="percentage points",
    )
    changes = change_points(y[at], unit="percentage points")
    needed = batches_needed(values["change"], changes.sigma)
    return Watched(answer, y, at, chart, changes, needed)


def series(answer: Analysed, stage: str, what: str) -> np.ndarray:
    """(n,) the loss in %, or the yield less the expected one in points. OutOfRange where the batch model expects nothing of this stage."""
    if what == LOSS:
        return answer.analysis.line(stage).loss_pct
    known = {r.of: r.residual for r in answer.analysis.residuals}
    need(
        stage in known,
        f"the batch model expects no yield of {stage}; choose {', '.join(known)}, or chart the loss as weighed",
    )
    return known[stage]


def control_view(found: Watched, values, system) -> View:
    loss, stage, chart = values["what"] == LOSS, values["stage"], found.chart
    spoke, chance = {a.at for a in chart.alarms}, chart.false_alarm_chance["together"]
    recipe = recipe_starts(found.answer.analysis).get(stage, ()) if loss else ()
    starts = [int(found.at[k]) for k in found.changes.starts]
    levels = "no lasting change of level is found"
    if starts:
        levels = f"new levels are found from batch {counted(starts)}"
    mean = float(found.values[found.at].mean())
    above = "above" if mean > 0 else "below"
    what = f"the yield of {stage} lies {abs(mean):.1f} points {above} what the uncalibrated chain expects"
    if loss:
        what = f"{stage} loses {mean:.1f} % in the mean"
    sentence = f"{what[0].upper()}{what[1:]}. A rule speaks at {len(spoke)} of {len(found.at)} batches; on noise alone one would in {100 * chance:.0f} of 100 such charts; {levels}."
    mixed = [k for k in starts if is_recipe(k, recipe)]
    if mixed:
        sentence += f" At batch {mixed[0] + 1} the recipe changed, not the process."
    lines = (
        _limits(found),
        *_changes(found, stage, loss, recipe, system),
        _needed(found, values["change"]),
    )
    return view(
        sentence,
        {
            "control": charts.control_data(
                chart, found.changes, found.at, found.answer.table.batches
            )
        },
        {"control": charts.control_text(chart, found.changes, found.at)},
        (table("What the chart says", ("what", "value", "uncertainty"), lines),),
        (chart, found.changes, found.needed),
    )


def _limits(found: Watched) -> tuple[str, str, str]:
    first = found.chart.phases[0]
    limits = minus(f"{first.low:.2f} to {first.high:.2f}")
    if first.baseline < ENOUGH:
        rough = f"✗ limits from {first.baseline} batches: fewer than {ENOUGH} make rough limits"
        return rough, limits, "rough themselves"
    where = f"limits from batches {found.at[0] + 1} to {found.at[first.baseline - 1] + 1}"
    return where, limits, "they hold only if these batches were sound"


def _changes(found: Watched, stage, loss, recipe, system):
    weighed = found.answer.table
    went_in = weighed.brought_in_kg
    if stage != "overall":
        went_in = weighed.all_in_kg[:, weighed.place(stage)]
    for change in found.changes.changes:
        batch = int(found.at[change.start]) + 1
        low, high = change.interval
        each = units.show(abs(change.shift) / 100 * float(np.nanmean(went_in)), "kg", system, 1)
        way = "more" if (change.shift > 0) == loss else "less"
        first, last = (int(found.at[change.likely[end]]) + 1 for end in (0, -1))
        begins = f"between batch {first} and {last}" if first < last else f"at batch {first}"
        level = f"new level from batch {batch}"
        yield (
            f"✗ {level}: the recipe changed there" if is_recipe(batch - 1, recipe) else level,
            minus(
                f"{change.before:.2f} to {change.after:.2f}: {change.shift:+.2f} points ({low:+.2f} to {high:+.2f}), {each} a batch {way} lost"
            ),
            f"begins {begins} (90 %); noise does as well in {odds(change.p)}",
        )


def _needed(found: Watched, change: float) -> tuple[str, str, str]:
    return (
        f"batches before, and again after, to see {change:g} points",
        f"{found.needed.per_side}",
        f"seen with a chance of {100 * POWER:.0f} of 100; scatter {found.changes.sigma:.2f} points about its levels",
    )
