"""Where did the kilos go? A waterfall from what came in to what was packed."""

import altair as alt

from kit import units
from kit.lab.charts.marks import across, named_list
from kit.lab.charts.style import COLOUR, WIDTH, numbered
from kit.yields.mass_balance import UNRECORDED

KINDS = {
    "lost": "loss",
    "scrap": "salt",
    "addition": "water",
    "rework in": "gain",
    "rework out": "gain",
    "sample": "carbohydrate",
    UNRECORDED: "unexplained",
    "giveaway": "cure",
}
TOTAL = alt.datum.kind == "end"
"""a weight that stands on the floor: it is drawn as a tick, its bar left out"""


def waterfall_chart(system: str, low_kg: float, high_kg: float) -> dict:
    """Each change as a floating bar between the weight before and after. The scale is cut off, so totals are ticks, not bars.

    A bar that a slider or a slip drives out of the frame ends at its edge.
    """
    low, high = (float(units.to_shown(kg, "kg", system)) for kg in (low_kg, high_kg))
    title = f"{units.shown_unit('kg', system)} in the batch"
    scaled = {"low": low, "high": high, "ticks": 8, "clamp": True, "zero": False}
    kinds = alt.Scale(domain=list(KINDS), range=[COLOUR[c] for c in KINDS.values()])
    bar = {
        "height": 17,
        "x": across("from:Q", title, **scaled),
        "x2": "to:Q",
        "opacity": alt.condition(TOTAL, alt.value(0), alt.value(1)),
        "color": alt.Color(
            "kind:N",
            scale=kinds,
            legend=alt.Legend(title=None, symbolType="square", columns=4),
        ),
        "tooltip": [
            alt.Tooltip("label:N", title="what"),
            alt.Tooltip("words:N", title="change"),
            alt.Tooltip("share:N", title="of all that went in"),
        ],
    }
    total = {
        "thickness": 5,
        "size": 20,
        "color": COLOUR["ink"],
        "opacity": alt.condition(TOTAL, alt.value(1), alt.value(0)),
        "x": across("to:Q", title, **scaled),
    }
    words = {"dx": 7, "x": across("right:Q", title, **scaled), "text": "words:N"}
    return named_list(
        "Where every kilogram went",
        "the scale does not start at 0: read the length of the bars, not their distance from the edge",
        [("steps", "bar", bar), ("steps", "tick", total), ("steps", "quiet words", words)],
        labels=260,
        width=WIDTH + 180,
        row=25,
        grid=True,
    )


def waterfall_range(balance) -> tuple[float, float]:
    """Bounds in kg that hold every bar with room for its label."""
    levels = [kg for row in balance.rows for kg in (row.to_kg, row.from_kg or row.to_kg)]
    low, high = min(levels), max(levels)
    return max(low - 0.1 * (high - low), 0), high + 0.35 * (high - low)


def waterfall_data(balance, system: str, words_below_kg: float) -> dict[str, list[dict]]:
    """Rows for `waterfall_chart`; the words of a bar that runs out of the frame stand at `words_below_kg`."""

    def shown(kg):
        return float(units.to_shown(kg, "kg", system))

    steps = []
    for n, row in enumerate(balance.rows):
        is_total = row.kind in ("start", "end")
        if not is_total and abs(row.kg) <= 1e-9:
            continue
        sign = "+" if row.kg > 0 and not is_total else ""
        steps.append(
            {
                "place": numbered(n, row.label),
                "label": row.label,
                "kind": "end" if is_total else row.kind,
                "from": shown(row.to_kg if is_total else row.from_kg),
                "to": shown(row.to_kg),
                "right": shown(min(max(row.from_kg, row.to_kg), words_below_kg)),
                "words": f"{sign}{units.show(row.kg, 'kg', system)}",
                "share": f"{100 * abs(row.kg) / balance.all_in_kg:.2f} %",
            }
        )
    return {"steps": steps}
