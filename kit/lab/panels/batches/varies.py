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
    "fat_pct": "fat, %",
    "chop_end_C": "end of chopping",
    "cook_end_C": "core at the end",
    "humidity_pct": "humidity of the house, %",
}
"""process columns of the demo records as a person calls them"""


@dataclass(frozen=True, eq=False)
class Varied:
    rows: np.ndarray
    parts: Components
    driven: Drivers
    steps: dict[str, tuple[str, float]]
    """{column: (as a person calls it, its usual step)}"""


def varies_panel() -> Panel:
    """One stage of the invented records: shares of the variance by label, and slopes on the process columns."""
    weighed = demo_analysis().table
    controls = (
        Choice("stage", "Stage", weighed.stages, "cook", "Which loss"),
        Switch("recipe", "Take out what the recipe lets expect", True, "Which loss"),
        Slider("first", "From batch", "", 1, 50, 1, 1, "Which batches"),
        Slider("last", "To batch", "", 70, weighed.n, 1, weighed.n, "Which batches"),
    )
    return Panel(
        "What varies, and what goes with it?",
        controls,
        varied_of,
        varies_view,
        lambda system: {"parts": charts.components_chart(system)},
        {
            "Leave the recipe in": {"recipe": False},
            "Before House 2 ran dry": {"first": 1, "last": 70},
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
        {name: (NAMES[name], float(np.nanstd(x, ddof=1))) for name, x in columns.items()},
    )


def varies_view(found: Varied, values, system) -> View:
    driven = found.driven
    first = max(found.parts.components[:-1], key=lambda p: p.share_pct)
    clear = [d for d in driven.drivers if not d.interval[0] < 0 < d.interval[1]]
    named = " and ".join(found.steps[d.name][0] for d in sorted(clear, key=lambda d: d.p))
    goes = f"it goes with {named}" if clear else "no column goes with it beyond doubt"
    most = f" and {first.share_pct:.0f} % between one {first.name} and another"
    sentence = (
        f"Of what varies in the loss at {values['stage']}, {found.parts.part('within').share_pct:.0f} % lies between single batches"
        + (most if first.share_pct >= 1 else "")
        + f"; {goes}."
    )
    blamed = ""
    if not values["recipe"] and values["stage"] == "cook":
        sentence += " The recipe is still in it: whatever changed at the same time gets the blame."
        blamed = "✗ recipe left in: "
    hardest = counted(found.rows[driven.rows[list(driven.strong[:5])]])
    together = (
        f"{blamed}all columns together, {len(driven.rows)} batches",
        f"{100 * driven.r2_adjusted:.0f} % of the variance explained",
        f"pulling hardest: batch {hardest}",
        "",
        "",
    )
    columns = (
        "column",
        "loss for one unit more",
        "90 % interval",
        "usual step",
        "tied to the others (VIF)",
    )
    lines = (*(_slope(d, found, system) for d in driven.drivers), together)
    return view(
        sentence,
        {"parts": charts.components_data(found.parts)},
        {},
        (table("What goes with it", columns, lines),),
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
        minus(f"{d.slope / per:+.2g} points per {shown}"),
        minus(f"{low:+.2g} to {high:+.2g}"),
        show(step, unit, system) if unit else f"{step:.2g} points",
        f"{d.vif:.1f}",
    )
