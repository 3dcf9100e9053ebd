"""One stage over time: is it stable, when did it change, and how many batches does it take to see a change?"""

from dataclasses import dataclass

import numpy as np
import pandas as pd

from kit import units
from kit.batches import BatchTable, i_mr, xbar_r
from kit.batches.change import Changes, change_points
from kit.batches.charts import Chart
from kit.batches.expected import counted
from kit.batches.findings import odds
from kit.batches.power import POWER, Needed, batches_needed
from kit.batches.rules import CLASSIC, USUAL
from kit.errors import need
from kit.lab.charts.batches import over_time as charts
from kit.lab.panels.batches.pieces import first_stage, following, is_recipe, minus, recipe_starts
from kit.lab.panels.panel import Choice, Panel, Slider, Table, View
from kit.reading.plant import Analysed

LOSS, RESIDUAL = "loss as weighed", "yield, deviation from expected"
SETS = {
    "beyond 3 sigma; 8 on one side": USUAL,
    "four run rules": CLASSIC,
    "beyond 3 sigma": ("beyond 3",),
}
ENOUGH, LEAST_BASELINE = 20, 8
"""points of a baseline below which limits are rough themselves; fewest points of a baseline"""
MIXED = "These batches are of several products or recipes, and the limits hold their differences as well: choose one at the top of the page."
LIMITS = "Control limits and run rules"
MOST_IN_GROUP = 10
"""batches of a subgroup; beyond that, ranges waste what is known"""


@dataclass(frozen=True, eq=False)
class Watched:
    """One stage's values over the batches `at` that have one."""

    answer: Analysed
    values: np.ndarray
    at: np.ndarray
    """places of the charted points among the batches; of a subgroup, its first batch"""
    chart: Chart
    changes: Changes
    needed: Needed
    size: int = 1
    """batches of a point"""


def control_panel(look: Panel | None = None) -> Panel:
    """A stage of the records that `look` holds (none: the demo), its control limits from a baseline, the run rules, and the levels found."""
    change = "Change to detect (percentage points)"

    def controls(answer: Analysed) -> tuple:
        stages, points = (*answer.table.stages, "overall"), by_of(answer.table)
        first, most = LEAST_BASELINE, max(answer.table.n, LEAST_BASELINE + 1)
        start = min(30, most)
        return (
            Choice("stage", "Stage", stages, first_stage(answer), "Charted quantity"),
            Choice("what", "Quantity", (LOSS, RESIDUAL), LOSS, "Charted quantity"),
            Choice("by", "A point for each", points, "batch", "Charted quantity"),
            Slider("baseline", "Baseline (first points)", "", first, most, 1, start, LIMITS),
            Choice("rules", "Run rules", tuple(SETS), next(iter(SETS)), LIMITS),
            Slider("change", change, "", 0.1, 3, 0.1, 0.5, "Your limits"),
        )

    return following(
        look,
        "Control chart of one stage",
        controls,
        watched,
        control_view,
        dict.fromkeys(("control", "ranges"), charts.control_chart),
        {
            "Correct for the recipe change": {"what": RESIDUAL},
            "Baseline of eight batches": {"baseline": LEAST_BASELINE},
            "All four run rules": {"rules": "four run rules"},
        },
    )


def watched(answer: Analysed, values) -> Watched:
    stage, by = values["stage"], values["by"]
    y = series(answer, stage, values["what"])
    at, unit = np.flatnonzero(np.isfinite(y)), "percentage points"
    groups = subgroups(answer.table, by, at) if by != "batch" else at[:, None]
    need(
        len(groups) >= LEAST_BASELINE,
        f"a chart of {stage} would hold {len(groups)} dots; it takes at least {LEAST_BASELINE}",
    )
    rules, first = SETS[values["rules"]], min(int(values["baseline"]), len(groups))
    chart = (xbar_r if by != "batch" else i_mr)(
        y[groups] if by != "batch" else y[at], baseline=first, rules=rules, unit=unit
    )
    changes = change_points(chart.values, unit=unit)
    needed = batches_needed(values["change"], changes.sigma)
    return Watched(answer, y, groups[:, 0], chart, changes, needed, groups.shape[1])


def by_of(weighed: BatchTable) -> tuple[str, ...]:
    """What a point can stand for: a batch, or the subgroups that these records hold."""
    every = np.arange(weighed.n)
    held = (by for by in ("day", "lot") if len(subgroups(weighed, by, every)) >= LEAST_BASELINE)
    return ("batch", *held)


def subgroups(weighed: BatchTable, by: str, at: np.ndarray) -> np.ndarray:
    """(groups, n) places of the batches `at` of one day or lot: the first n of each that has as many, n so that most batches are used. Empty where there are none."""
    said = weighed.unit_of(by)
    if said is None:
        return np.empty((0, 0), int)
    named = pd.Series(at[said[at] != ""])
    held = [places.to_numpy() for _, places in named.groupby(said[named], sort=False)]
    counts = np.array([len(places) for places in held])
    size = max(range(2, MOST_IN_GROUP + 1), key=lambda n: (n * (counts >= n).sum(), n))
    kept = [places[:size] for places in held if len(places) >= size]
    return np.array(kept, int).reshape(-1, size)


def series(answer: Analysed, stage: str, what: str) -> np.ndarray:
    """(n,) the loss in %, or the yield less the expected one in percentage points. OutOfRange where the batch model predicts nothing for this stage."""
    if what == LOSS:
        return answer.analysis.line(stage).loss_pct
    known = {r.of: r.residual for r in answer.analysis.residuals}
    sheet = "give the sheet of a recipe at the top of the page"
    instead = f"choose {', '.join(known)}" if known else sheet
    need(
        stage in known,
        f"the batch model predicts no yield of {stage}; {instead}, or chart the loss as weighed",
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
    mean = float(np.nanmean(found.values))
    above = "above" if mean > 0 else "below"
    what = f"mean yield of {stage}: {abs(mean):.1f} percentage points {above} the prediction of the uncalibrated batch model"
    if loss:
        what = f"mean loss of {stage}: {mean:.1f} %"
    grouped = values["by"] != "batch"
    points = f"means of a {values['by']}" if grouped else "points"
    if grouped:
        points += f" ({found.size} batches each)"
    sentence = f"{what[0].upper()}{what[1:]}. {len(spoke)} of {len(found.at)} {points} are out of control; a stable process gives at least one false alarm in {100 * chance:.0f} of 100 such charts; {levels}."
    mixed = [k for k in starts if is_recipe(k, recipe)]
    if mixed:
        sentence += f" At batch {mixed[0] + 1} the recipe changed, not the process."
    changes = _changes(found, stage, loss, recipe, system)
    lines = (_limits(found), *changes, _needed(found, values["change"]))
    weighed, y = found.answer.table, "loss" if loss else "yield less expected"
    of = f"{stage}: {y}{', X-bar' if grouped else ''}"
    drawn = {"control": (chart, found.changes, found.at, of)}
    if grouped:
        ranges = f"{stage}: range within a {values['by']}, R"
        drawn["ranges"] = (chart.ranges, None, found.at, ranges)
    columns = ("quantity", "value", "uncertainty")
    return View(
        sentence,
        {name: charts.control_data(weighed, *one) for name, one in drawn.items()},
        {name: charts.control_text(*one) for name, one in drawn.items()},
        (Table("Control limits and changes of level", columns, lines),),
        (MIXED,) if len(set(weighed.made) - {""}) > 1 else (),
    ).of(chart, found.changes, found.needed)


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
        f"{found.needed.per_side * found.size}",
        f"power {100 * POWER:.0f} %; standard deviation {found.changes.sigma:.2f} percentage points about the levels",
    )
