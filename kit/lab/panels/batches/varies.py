"""What varies, and what goes with it: components of variance, and process columns."""

from dataclasses import dataclass

import numpy as np

from kit.batches import drivers
from kit.batches.components import Components, components
from kit.batches.drivers import Drivers
from kit.batches.expected import counted
from kit.errors import OutOfRange, need
from kit.lab.charts.batches import bars as charts
from kit.lab.panels.batches.pieces import first_stage, following, minus
from kit.lab.panels.batches.study import study_table, trees_table
from kit.lab.panels.controls import Needs
from kit.lab.panels.panel import Choice, File, Panel, Slider, Switch, Table, View
from kit.reading.plant import Analysed
from kit.units import show, shown_unit, to_shown

VARY = ("supplier", "lot", "operator", "smokehouse")
"""labels whose share of the variation is asked for, if they are in the table"""

NAMES = {
    "fat_pct": "fat (%)",
    "chop_end_C": "final chopping temperature",
    "cook_end_C": "core temperature, end of cook",
    "humidity_pct": "relative humidity of the smokehouse (%)",
}
"""process columns of the demo records as a person calls them"""


@dataclass(frozen=True, eq=False)
class Varied:
    rows: np.ndarray
    parts: Components | None
    """None where no label is recorded that varies"""
    driven: Drivers | None
    """None where no process variable is recorded that varies"""
    steps: dict[str, tuple[str, float]]
    """{column: (as a person calls it, its standard deviation)}"""
    recipes: bool
    """whether the loss still holds the differences of several recipes"""
    left_out: tuple[str, ...] = ()


def varies_panel(look: Panel | None = None) -> Panel:
    """One stage of the records that `look` holds (none: the demo): shares of the variance by label, and slopes on the process columns."""

    def controls(answer: Analysed) -> tuple:
        weighed, n = answer.table, answer.table.n
        judged = tuple(weighed.stages[j] for j in weighed.expected_stages())
        corrected = Needs(("stage",), "no recipe sheet says what this stage loses", judged or ("",))
        return (
            Choice("stage", "Stage", answer.table.stages, first_stage(answer), "Loss"),
            Switch("recipe", "Correct for recipe changes", True, "Loss", corrected),
            Slider("first", "First batch", "", 1, max(n * 2 // 5, 2), 1, 1, "Batches"),
            Slider("last", "Last batch", "", max(n * 3 // 5, 3), n, 1, n, "Batches"),
            File("study", "Scale study (person, part, weight)", ".csv,.xlsx,.txt", "Your scale"),
        )

    return following(
        look,
        "Variance components and regression",
        controls,
        varied_of,
        varies_view,
        {"parts": charts.components_chart},
        {
            "Ignore the recipe change": {"recipe": False},
            "First 70 batches": {"first": 1, "last": 70},
        },
    )


def varied_of(answer: Analysed, values) -> Varied:
    weighed = answer.table
    losses = weighed.judged_loss_pct if values["recipe"] else weighed.loss_pct
    place = weighed.place(values["stage"])
    y = losses[:, place]
    rows = np.arange(int(values["first"]) - 1, min(int(values["last"]), weighed.n))
    rows = rows[np.isfinite(y[rows])]
    labels = {label: weighed.labels[label][rows] for label in VARY if label in weighed.labels}
    columns = {name: x[rows] for name, x in weighed.facts.items()}
    said: list[str] = []
    parts = _fitted(lambda held: components(y[rows], held, unit="percentage points"), labels, said)
    driven = _fitted(lambda held: drivers(y[rows], held), columns, said)
    need(
        parts is not None or driven is not None,
        f"these records hold no label (supplier, lot, shift, smokehouse) and no process variable to compare the loss at {values['stage']} with"
        + "".join(f"; {one}" for one in said),
    )
    steps = {
        name: (NAMES.get(name, name), float(np.nanstd(x, ddof=1)))
        for name, x in columns.items()
        if driven and name in {d.name for d in driven.drivers}
    }
    corrected = values["recipe"] and place in weighed.expected_stages()
    mixed = not corrected and len(set(weighed.made)) > 1
    return Varied(rows, parts, driven, steps, mixed, tuple(said))


def _fitted(fit, held: dict, said: list[str]):
    """`fit` of these columns; one by one, without those that it refuses, where it refuses them together. None where none is left."""
    try:
        return fit(held) if held else None
    except OutOfRange:
        kept, found = dict[str, np.ndarray](), None
    for name, column in held.items():
        try:
            found = fit(kept | {name: column})
            kept[name] = column
        except OutOfRange as error:
            said.append(f"{NAMES.get(name, name)} is left out: {error}")
    return found


def varies_view(found: Varied, values, system) -> View:
    driven, parts = found.driven, found.parts
    clear = [d for d in driven.drivers if not d.interval[0] < 0 < d.interval[1]] if driven else []
    named = " and ".join(found.steps[d.name][0] for d in sorted(clear, key=lambda d: d.p))
    goes = f"associated with {named}" if clear else "no recorded variable is clearly associated"
    said = []
    if parts:
        first = max(parts.components[:-1], key=lambda p: p.share_pct)
        most = f", {first.share_pct:.0f} % between {first.name}s" if first.share_pct >= 1 else ""
        said.append(f"{parts.part('within').share_pct:.0f} % between single batches{most}")
    sentence = f"Variance of the loss at {values['stage']}: {'; '.join((*said, goes))}."
    blamed = ""
    if values["stage"] == "cook" and found.recipes:
        sentence += " The recipe effect is included: variables that changed at the same time appear as causes."
        blamed = "✗ recipe effect included: "
    columns = (
        "variable",
        "slope of the loss",
        "90 % interval",
        "standard deviation",
        "collinearity (VIF)",
    )
    lines = [("none recorded that varies", "", "", "", "")]
    if driven:
        hardest = counted(found.rows[driven.rows[list(driven.strong[:5])]])
        together = (
            f"{blamed}all variables, {len(driven.rows)} batches",
            f"{100 * driven.r2_adjusted:.0f} % of the variance explained",
            f"influential batches: {hardest}",
            "",
            "",
        )
        lines = [*(_slope(d, found, system) for d in driven.drivers), together]
    return View(
        sentence,
        {"parts": charts.components_data(parts)} if parts else {},
        tables=(
            Table("Regression on recorded variables", columns, lines),
            study_table(values["study"]),
            *([] if values["study"] else [trees_table()]),
        ),
        notes=found.left_out,
    ).of(parts, driven)


def _slope(d, found: Varied, system: str) -> tuple[str, ...]:
    name, step = found.steps[d.name]
    unit = "K" if d.name.endswith("_C") else ""
    per = float(to_shown(1.0, unit, system)) if unit else 1.0
    percent = d.name.endswith("_pct")
    shown = shown_unit(unit, system) if unit else "1 %" if percent else "unit"
    low, high = (end / per for end in d.interval)
    return (
        name,
        minus(f"{d.slope / per:+.2g} percentage points per {shown}"),
        minus(f"{low:+.2g} to {high:+.2g}"),
        show(step, unit, system)
        if unit
        else f"{step:.2g}{' percentage points' if percent else ''}",
        f"{d.vif:.1f}",
    )
