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

LOSS, RESIDUAL = "loss as weighed", "yield, deviation from expected"
SETS = {
    "beyond 3 sigma; 8 on one side": USUAL,
    "four run rules": CLASSIC,
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
    """A stage of the invented records, its control limits from a baseline, the run rules, and the levels found."""
    stages = (*demo_analysis().table.stages, "overall")
    controls = (
        Choice("stage", "Stage", stages, "cook", "Charted quantity"),
        Choice("what", "Quantity", (LOSS, RESIDUAL), LOSS, "Charted quantity"),
        Slider(
            "baseline",
            "Baseline (first batches)",
            "",
            8,
            120,
            1,
            30,
            "Control limits and run rules",
        ),
        Choice("rules", "Run rules", tuple(SETS), next(iter(SETS)), "Control limits and run rules"),
        Slider(
            "change", "Change to detect (percentage points)", "", 0.1, 3, 0.1, 0.5, "Your limits"
        ),
    )
    return Panel(
        "Control chart of one stage",
        controls,
        watched,
        control_view,
        lambda system: {"control": charts.control_chart(system)},
        {
            "Correct for the recipe change": {"what": RESIDUAL},
            "Baseline of eight batches": {"baseline": 8},
            "All four run rules": {"rules": "four run rules"},
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
    """(n,) the loss in %, or the yield less the expected one in percentage points. OutOfRange where the batch model predicts nothing for this stage."""
    if what == LOSS:
        return answer.analysis.line(stage).loss_pct
    known = {r.of: r.residual for r in answer.analysis.residuals}
    need(
        stage in known,
        f"the batch model predicts no yield of {stage}; choose {', '.join(known)}, or chart the loss as weighed",
    )
    return known[stage]


def control_view(found: Watched, values, system) -> View:
    loss, stage, chart = values["what"] == LOSS, values["stage"], found.chart
    spoke, chance = {a.at for a in chart.alarms}, chart.false_alarm_chance["together"]
    recipe = recipe_starts(found.answer.analysis).get(stage, ()) if loss else ()
    starts = [int(found.at[k]) for k in found.changes.starts]
    levels = "no sustained change of level found"
    if starts:
        levels = f"new levels found from batch {counted(starts)}"
    mean = float(found.values[found.at].mean())
    above = "above" if mean > 0 else "below"
    what = f"mean yield of {stage}: {abs(mean):.1f} percentage points {above} the prediction of the uncalibrated batch model"
    if loss:
        what = f"mean loss of {stage}: {mean:.1f} %"
    sentence = f"{what[0].upper()}{what[1:]}. {len(spoke)} of {len(found.at)} points are out of control; a stable process gives at least one false alarm in {100 * chance:.0f} of 100 such charts; {levels}."
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
        (
            table(
                "Control limits and changes of level", ("quantity", "value", "uncertainty"), lines
            ),
        ),
        (chart, found.changes, found.needed),
    )


def _limits(found: Watched) -> tuple[str, str, str]:
    first = found.chart.phases[0]
    limits = minus(f"{first.low:.2f} to {first.high:.2f}")
    if first.baseline < ENOUGH:
        rough = (
            f"✗ control limits from {first.baseline} batches; fewer than {ENOUGH} are not enough"
        )
        return rough, limits, "uncertain limits"
    where = f"control limits from batches {found.at[0] + 1} to {found.at[first.baseline - 1] + 1}"
    return where, limits, "valid only if these batches were in control"


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
            f"✗ {level}: recipe change" if is_recipe(batch - 1, recipe) else level,
            minus(
                f"{change.before:.2f} to {change.after:.2f}: {change.shift:+.2f} percentage points ({low:+.2f} to {high:+.2f}), {each} {way} loss per batch"
            ),
            f"begins {begins} (90 %); chance from random variation {odds(change.p)}",
        )


def _needed(found: Watched, change: float) -> tuple[str, str, str]:
    return (
        f"batches needed before and after, to detect {change:g} percentage points",
        f"{found.needed.per_side}",
        f"power {100 * POWER:.0f} %; standard deviation {found.changes.sigma:.2f} percentage points about the levels",
    )
