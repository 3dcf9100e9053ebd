"""What varies, and what goes with it: components of variance, and process columns."""

from dataclasses import dataclass

import numpy as np

from kit.batches import drivers
from kit.batches.components import Components, components
from kit.batches.drivers import Drivers
from kit.batches.expected import counted
from kit.lab.charts.batches import bars as charts
from kit.lab.panels.batches.pieces import minus, table, view
from kit.lab.panels.panel import Choice, Panel, Slider, Switch, View
from kit.reading.plant import demo_analysis
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
    parts: Components
    driven: Drivers
    steps: dict[str, tuple[str, float]]
    """{column: (as a person calls it, its standard deviation)}"""


def varies_panel() -> Panel:
    """One stage of the invented records: shares of the variance by label, and slopes on the process columns."""
    weighed = demo_analysis().table
    controls = (
        Choice("stage", "Stage", weighed.stages, "cook", "Loss"),
        Switch("recipe", "Correct for recipe changes", True, "Loss"),
        Slider("first", "First batch", "", 1, 50, 1, 1, "Batches"),
        Slider("last", "Last batch", "", 70, weighed.n, 1, weighed.n, "Batches"),
    )
    return Panel(
        "Variance components and regression",
        controls,
        varied_of,
        varies_view,
        lambda system: {"parts": charts.components_chart(system)},
        {
            "Ignore the recipe change": {"recipe": False},
            "Before the humidity change": {"first": 1, "last": 70},
        },
    )


def varied_of(values) -> Varied:
    weighed = demo_analysis().table
    losses = weighed.judged_loss_pct if values["recipe"] else weighed.loss_pct
    y = losses[:, weighed.place(values["stage"])]
    rows = np.arange(int(values["first"]) - 1, int(values["last"]))
    rows = rows[np.isfinite(y[rows])]
    labels = {label: weighed.labels[label][rows] for label in VARY if label in weighed.labels}
    columns = {name: x[rows] for name, x in weighed.facts.items()}
    return Varied(
        rows,
        components(y[rows], labels, unit="percentage points"),
        drivers(y[rows], columns),
        {name: (NAMES.get(name, name), float(np.nanstd(x, ddof=1))) for name, x in columns.items()},
    )


def varies_view(found: Varied, values, system) -> View:
    driven = found.driven
    first = max(found.parts.components[:-1], key=lambda p: p.share_pct)
    clear = [d for d in driven.drivers if not d.interval[0] < 0 < d.interval[1]]
    named = " and ".join(found.steps[d.name][0] for d in sorted(clear, key=lambda d: d.p))
    goes = f"associated with {named}" if clear else "no recorded variable is clearly associated"
    most = f", {first.share_pct:.0f} % between {first.name}s"
    sentence = (
        f"Variance of the loss at {values['stage']}: {found.parts.part('within').share_pct:.0f} % between single batches"
        + (most if first.share_pct >= 1 else "")
        + f"; {goes}."
    )
    blamed = ""
    if not values["recipe"] and values["stage"] == "cook":
        sentence += " The recipe effect is included: variables that changed at the same time appear as causes."
        blamed = "✗ recipe effect included: "
    hardest = counted(found.rows[driven.rows[list(driven.strong[:5])]])
    together = (
        f"{blamed}all variables, {len(driven.rows)} batches",
        f"{100 * driven.r2_adjusted:.0f} % of the variance explained",
        f"influential batches: {hardest}",
        "",
        "",
    )
    columns = (
        "variable",
        "slope of the loss",
        "90 % interval",
        "standard deviation",
        "collinearity (VIF)",
    )
    lines = (*(_slope(d, found, system) for d in driven.drivers), together)
    return view(
        sentence,
        {"parts": charts.components_data(found.parts)},
        {},
        (table("Regression on recorded variables", columns, lines),),
        (found.parts, driven),
    )


def _slope(d, found: Varied, system: str) -> tuple[str, ...]:
    name, step = found.steps[d.name]
    unit = "K" if d.name.endswith("_C") else ""
    per = float(to_shown(1.0, unit, system)) if unit else 1.0
    shown = shown_unit(unit, system) if unit else "1 %"
    low, high = (end / per for end in d.interval)
    return (
        name,
        minus(f"{d.slope / per:+.2g} percentage points per {shown}"),
        minus(f"{low:+.2g} to {high:+.2g}"),
        show(step, unit, system) if unit else f"{step:.2g} percentage points",
        f"{d.vif:.1f}",
    )
