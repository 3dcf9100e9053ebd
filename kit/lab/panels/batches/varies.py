"""What varies, and what goes with it: components of variance, and process columns."""

from dataclasses import dataclass

import numpy as np

from kit.batches import Components, Drivers, components, drivers
from kit.errors import need
from kit.lab.charts.batches import bars as charts
from kit.lab.panels.batches.pieces import CAUTIONS, INVENTED, NAMES, demo_stages, stepped, unit_of
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Switch, Table, View
from kit.reading.plant import Analysed, demo_analysis
from kit.tables import value
from kit.units import to_shown

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
    table = demo_analysis().table
    labels = tuple(label for label in VARY if label in table.labels)
    controls = (
        Choice("stage", "Stage", demo_stages(), "cook", "Which loss"),
        Switch("recipe", "Take out what the recipe lets expect", True, "Which loss"),
        Slider("first", "From batch", "", 1, 50, 1, 1, "Which batches"),
        Slider("last", "To batch", "", 70, table.n, 1, table.n, "Which batches"),
        *(
            Switch(f"label {label}", f"Ask about {label}", True, "What may vary")
            for label in labels
        ),
        *(
            Switch(
                f"column {column}",
                f"Ask about {NAMES.get(column, column)}",
                True,
                "What may go with it",
            )
            for column in table.facts
        ),
    )
    only_rh = {f"column {column}": column == "humidity_pct" for column in table.facts}
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
    table = answer.table
    losses = table.judged_loss_pct if values["recipe"] else table.loss_pct
    y = losses[:, table.place(values["stage"])]
    rows = np.arange(int(values["first"]) - 1, int(values["last"]))
    rows = rows[np.isfinite(y[rows])]
    labels = {label: table.labels[label][rows] for label in VARY if values.get(f"label {label}")}
    columns = {
        column: held[rows] for column, held in table.facts.items() if values.get(f"column {column}")
    }
    need(bool(labels), "nothing is asked that may vary; tick at least one label")
    need(bool(columns), "nothing is asked that may go with the loss; tick at least one column")
    return Varied(
        answer,
        rows,
        components(y[rows], labels, rounds=200, unit="% points"),
        drivers(y[rows], columns),
        {
            column: (NAMES.get(column, column), float(np.nanstd(held, ddof=1)))
            for column, held in columns.items()
        },
    )


def varies_view(found: Varied, values, system) -> View:
    first = max(found.parts.components[:-1], key=lambda p: p.share_pct)
    clear = [d for d in found.driven.drivers if not d.interval[0] < 0 < d.interval[1]]
    goes = (
        "no column goes with it beyond doubt"
        if not clear
        else "it goes with "
        + " and ".join(found.steps[d.name][0] for d in sorted(clear, key=lambda d: d.p))
    )
    sentence = (
        f"Of what varies in the loss at {values['stage']}, {found.parts.part('within').share_pct:.0f} % lies between single batches"
        + (
            f" and {first.share_pct:.0f} % between one {first.name} and another"
            if first.share_pct >= 1
            else ""
        )
        + f"; {goes}."
    )
    kept_in = not values["recipe"] and values["stage"] == "cook"
    if kept_in:
        sentence += " The recipe is still in it: whatever changed at the same time gets the blame."
    parts = tuple(
        Row(
            (
                _part(p.name),
                f"{p.sd:.2f} points",
                f"{p.share_pct:.0f} %",
                f"{p.interval[0] ** 0.5:.2f} to {p.interval[1] ** 0.5:.2f} points",
            )
        )
        for p in found.parts.components
    )
    slopes = tuple(_slope_row(d, found, system) for d in found.driven.drivers)
    told = Table(
        "How far the slopes can be trusted",
        ("what", "value", "what it means"),
        tuple(_trust_rows(found, kept_in)),
    )
    tables = (
        Table(
            "What varies", ("part", "standard deviation", "of the variance", "90 % interval"), parts
        ),
        Table(
            "What goes with it",
            (
                "column",
                "loss for one unit more",
                "95 % interval",
                "usual step",
                "tied to the others (VIF)",
            ),
            slopes,
        ),
        told,
    )
    sources = tuple(dict.fromkeys((*found.parts.sources, *found.driven.sources)))
    return View(
        sentence,
        {
            "parts": charts.components_data(found.parts),
            "columns": charts.drivers_data(found.driven, found.steps),
        },
        {
            "parts": charts.components_text(found.parts),
            "columns": charts.drivers_text(found.driven, found.steps),
        },
        tables,
        (*found.parts.notes, *found.driven.notes, INVENTED),
        (*found.parts.working, *found.driven.working),
        sources,
        CAUTIONS,
    )


def _part(name: str) -> str:
    return "batch to batch, unexplained" if name == "within" else f"between one {name} and another"


def _slope_row(d, found: Varied, system: str) -> Row:
    name, step = found.steps[d.name]
    unit = unit_of(d.name)
    per = float(to_shown(1.0, unit, system)) if unit else 1.0
    shown = {"K": "°F" if system == "US" else "K", "mm": "in" if system == "US" else "mm"}.get(
        unit, "1 %"
    )
    low, high = (end / per for end in d.interval)
    return Row(
        (
            name,
            f"{d.slope / per:+.2g} points per {shown}".replace("-", "−"),
            f"{low:+.2g} to {high:+.2g}".replace("-", "−"),
            stepped(d.name, step, system),
            f"{d.vif:.1f}",
        )
    )


def _trust_rows(found: Varied, kept_in: bool):
    d, n = found.driven, len(found.rows)
    yield Row(
        (
            "batches used",
            f"{len(d.rows)} of {n}",
            f"{len(d.drivers)} columns; ten batches for each are the least",
        )
    )
    yield Row(
        (
            "explained by the columns together",
            f"{100 * d.r2_adjusted:.0f} % of the variance",
            "what is left has other reasons, or none",
        )
    )
    tied = [x for x in d.drivers if x.vif > value("batches_vif_note")]
    yield Row(
        (
            "columns that move together",
            ", ".join(found.steps[x.name][0] for x in tied) or "none",
            "their separate slopes would be unsure",
        )
    )
    yield Row(
        (
            "batches that pull hardest",
            ", ".join(str(int(found.rows[d.rows[i]]) + 1) for i in d.strong[:5]) or "none",
            "look whether they are right; never drop them for the fit's sake",
        )
    )
    alike = d.durbin_watson < 1.5
    yield Row(
        (
            f"{'✗ ' if alike else ''}neighbours that resemble one another (Durbin-Watson)",
            f"{d.durbin_watson:.2f}",
            "intervals are too narrow: something that lasts is left out"
            if alike
            else "no sign of it",
        ),
        "fails" if alike else "",
    )
    if kept_in:
        yield Row(("✗ recipe", "left in", "its step stands in lots and columns"), "fails")
