"""What varies, and what goes with it: components of variance, and process columns."""

from dataclasses import dataclass

import numpy as np

from kit.batches import drivers
from kit.batches.components import Components, components
from kit.batches.drivers import Drivers
from kit.errors import need
from kit.lab.charts.batches import bars as charts
from kit.lab.panels.batches.pieces import NAMES, minus, table, unit_of, view
from kit.lab.panels.panel import Choice, Panel, Slider, Switch, View
from kit.reading.plant import Analysed, demo_analysis
from kit.tables import value
from kit.units import show, to_shown

VARY = ("supplier", "lot", "operator", "cooker")
"""labels whose share of the variation is asked for, if they are in the table"""


@dataclass(frozen=True, eq=False)
class Varied:
    answer: Analysed
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
        *(
            Switch(f"label {label}", f"Ask about {label}", True, "What may vary")
            for label in VARY
            if label in weighed.labels
        ),
        *(
            Switch(
                f"column {name}", f"Ask about {NAMES.get(name, name)}", True, "What may go with it"
            )
            for name in weighed.facts
        ),
    )
    only_rh = {f"column {column}": column == "humidity_pct" for column in weighed.facts}
    return Panel(
        "What varies, and what goes with it?",
        controls,
        varied_of,
        varies_view,
        lambda system: {
            "parts": charts.components_chart(system),
            "columns": charts.drivers_chart(system),
        },
        {
            "Leave the recipe in": {"recipe": False},
            "Before House 2 ran dry": {"first": 1, "last": 70},
            "Humidity alone": only_rh,
        },
    )


def varied_of(values) -> Varied:
    answer = demo_analysis()
    weighed = answer.table
    losses = weighed.judged_loss_pct if values["recipe"] else weighed.loss_pct
    y = losses[:, weighed.place(values["stage"])]
    rows = np.arange(int(values["first"]) - 1, int(values["last"]))
    rows = rows[np.isfinite(y[rows])]
    labels = {label: weighed.labels[label][rows] for label in VARY if values.get(f"label {label}")}
    columns = {name: x[rows] for name, x in weighed.facts.items() if values.get(f"column {name}")}
    need(bool(labels), "nothing is asked that may vary; tick at least one label")
    need(bool(columns), "nothing is asked that may go with the loss; tick at least one column")
    return Varied(
        answer,
        rows,
        components(y[rows], labels, rounds=200, unit="% points"),
        drivers(y[rows], columns),
        {name: (NAMES.get(name, name), float(np.nanstd(x, ddof=1))) for name, x in columns.items()},
    )


def varies_view(found: Varied, values, system) -> View:
    first = max(found.parts.components[:-1], key=lambda p: p.share_pct)
    clear = [d for d in found.driven.drivers if not d.interval[0] < 0 < d.interval[1]]
    named = " and ".join(found.steps[d.name][0] for d in sorted(clear, key=lambda d: d.p))
    goes = f"it goes with {named}" if clear else "no column goes with it beyond doubt"
    most = f" and {first.share_pct:.0f} % between one {first.name} and another"
    sentence = (
        f"Of what varies in the loss at {values['stage']}, {found.parts.part('within').share_pct:.0f} % lies between single batches"
        + (most if first.share_pct >= 1 else "")
        + f"; {goes}."
    )
    kept_in = not values["recipe"] and values["stage"] == "cook"
    if kept_in:
        sentence += " The recipe is still in it: whatever changed at the same time gets the blame."
    tables = (
        table(
            "What varies",
            ("part", "standard deviation", "of the variance", "90 % interval"),
            (_part(p) for p in found.parts.components),
        ),
        table(
            "What goes with it",
            (
                "column",
                "loss for one unit more",
                "95 % interval",
                "usual step",
                "tied to the others (VIF)",
            ),
            (_slope(d, found, system) for d in found.driven.drivers),
        ),
        table(
            "How far the slopes can be trusted",
            ("what", "value", "what it means"),
            _trust(found, kept_in),
        ),
    )
    data = {
        "parts": charts.components_data(found.parts),
        "columns": charts.drivers_data(found.driven, found.steps),
    }
    text = {"columns": charts.drivers_text(found.driven, found.steps)}
    return view(sentence, data, text, tables, (found.parts, found.driven))


def _part(p) -> tuple[str, ...]:
    within = p.name == "within"
    return (
        "batch to batch, unexplained" if within else f"between one {p.name} and another",
        f"{p.sd:.2f} points",
        f"{p.share_pct:.0f} %",
        f"{p.interval[0] ** 0.5:.2f} to {p.interval[1] ** 0.5:.2f} points",
    )


def _slope(d, found: Varied, system: str) -> tuple[str, ...]:
    name, step = found.steps[d.name]
    unit, us = unit_of(d.name), system == "US"
    per = float(to_shown(1.0, unit, system)) if unit else 1.0
    shown = {"K": "°F" if us else "K", "mm": "in" if us else "mm"}.get(unit, "1 %")
    low, high = (end / per for end in d.interval)
    return (
        name,
        minus(f"{d.slope / per:+.2g} points per {shown}"),
        minus(f"{low:+.2g} to {high:+.2g}"),
        show(step, unit, system) if unit else f"{step:.2g} points",
        f"{d.vif:.1f}",
    )


def _trust(found: Varied, kept_in: bool):
    d, n = found.driven, len(found.rows)
    tied = [found.steps[x.name][0] for x in d.drivers if x.vif > value("batches_vif_note")]
    hardest = [str(int(found.rows[d.rows[i]]) + 1) for i in d.strong[:5]]
    alike = d.durbin_watson < 1.5
    yield (
        "batches used",
        f"{len(d.rows)} of {n}",
        f"{len(d.drivers)} columns; ten batches for each are the least",
    )
    yield (
        "explained by the columns together",
        f"{100 * d.r2_adjusted:.0f} % of the variance",
        "what is left has other reasons, or none",
    )
    yield (
        "columns that move together",
        ", ".join(tied) or "none",
        "their separate slopes would be unsure",
    )
    yield (
        "batches that pull hardest",
        ", ".join(hardest) or "none",
        "look whether they are right; never drop them for the fit's sake",
    )
    yield (
        f"{'✗ ' if alike else ''}neighbours that resemble one another (Durbin-Watson)",
        f"{d.durbin_watson:.2f}",
        "intervals are too narrow: something that lasts is left out" if alike else "no sign of it",
    )
    if kept_in:
        yield "✗ recipe", "left in", "its step stands in lots and columns"
