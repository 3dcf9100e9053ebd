"""One batch's mass balance: a waterfall, yields beside what was expected, what is missing, its cost."""

from functools import partial

import numpy as np

from kit import units
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, measured, named_list
from kit.lab.charts.style import COLOUR, LABEL, WIDTH, beyond, numbered
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
REACH, BESIDE = 10.0, 17.0
"""how many standard deviations the balances reach, and where their kilograms stand"""


def _figures(data: str, x, **more) -> tuple:
    """Words that end at the right edge of the picture."""
    right = {"x": x("end:Q"), "text": "words:N", "align": "right", "dx": 0}
    return (data, "words", right | more)


@alt.kept
def waterfall_chart(system: str, low_kg: float, high_kg: float) -> dict:
    """Each change as a floating bar between the weight before and after. The scale is cut off, so totals are ticks, not bars.

    A bar that a slider or an error drives out of the frame ends at its border.
    """
    ends = {"system": system, "low": low_kg, "high": high_kg, "ticks": 8, "clamp": True}
    x = partial(measured, across, what="weight of the batch", unit="kg", zero=False, **ends)
    bar = {"height": 17, "x": x("from:Q"), "x2": "to:Q", "colour": "colour:N"}
    total = {"thickness": 5, "size": 20, "colour": "ink", "x": x("to:Q")}
    words = {"dx": 7, "x": x("right:Q"), "text": "words:N"}
    layers = [
        ("steps", "bar", bar),
        ("totals", "tick", total),
        ("steps", "quiet words", words),
        ("totals", "quiet words", words),
    ]
    return named_list(
        "Mass balance by stage",
        "the axis does not start at 0: compare the lengths of the bars",
        layers,
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
        return units.to_shown(kg, "kg", system)

    sets: dict[str, list[dict]] = {"steps": [], "totals": []}
    for n, row in enumerate(balance.rows):
        is_total = row.kind in ("start", "end")
        if not is_total and abs(row.kg) <= 1e-9:
            continue
        sign = "+" if row.kg > 0 and not is_total else ""
        placed = {
            "place": numbered(n, row.label),
            "to": shown(row.to_kg),
            "right": shown(min(max(row.from_kg, row.to_kg), words_below_kg)),
            "words": f"{sign}{units.show(row.kg, 'kg', system)}",
        }
        if is_total:
            sets["totals"].append(placed)
        else:
            colour = COLOUR[KINDS[row.kind]]
            sets["steps"].append({**placed, "from": shown(row.from_kg), "colour": colour})
    return sets


@alt.kept
def yields_chart(system: str) -> dict:
    """The end of the line in percent of every base, weighed and expected."""

    ends = {"low": 60, "high": 172, "ticks": [60, 80, 100, 120, 140]}
    x = partial(across, title="yield (% of that weight)", clamp=True, **ends)
    chosen = alt.condition("datum.chosen", alt.value(330), alt.value(150))
    weighed = {"x": x("pct:Q"), "colour": "gain", "size": chosen}
    ring = {"size": 170, "stroke": COLOUR["cold"], "strokeWidth": 3, "clip": False}
    layers = [
        ("expected", "rule", {"x": x("low:Q"), "x2": "high:Q", "colour": "cold"}),
        ("expected", "ring", {"x": x("pct:Q"), **ring}),
        ("weighed", "dot", weighed),
        _figures("weighed", x),
    ]
    subtitle = "dot: weighed; ring: expected; dashed: 100 %"
    size = {"labels": 110, "width": 290, "row": 29}
    under = [layer("edge", "limit", x=x("at:Q"))]
    return named_list("Yield on each basis", subtitle, layers, under=under, grid=True, **size)


def yields_data(found, base: str) -> dict[str, list[dict]]:
    sets: dict[str, list[dict]] = {"expected": [], "weighed": [], "edge": [{"at": 100}]}
    for n, line in enumerate(found.yields):
        place, pct = numbered(n, line.base), line.weighed and line.weighed.pct
        sd = line.weighed and line.weighed.sd_pct
        unsure = "" if sd is None else f" ± {sd:.1f}"
        if line.expected:
            reach = {"pct": line.expected.pct, "low": line.low_pct, "high": line.high_pct}
            words = f"expected {line.expected.pct:.1f} %"
            sets["expected"].append({"place": place, **reach, "words": words})
        sets["weighed"].append(
            {
                "place": place,
                "pct": None if pct is None else min(pct, 145.0),
                "end": 172.0,
                "chosen": line.base == base,
                "words": "" if pct is None else f"{pct:.1f}{unsure} %{beyond(pct, 145, 60)}",
            }
        )
    return sets


@alt.kept
def balances_chart(system: str) -> dict:
    """The imbalance of every stage and transfer, over its standard uncertainty."""

    ends = {"low": -REACH, "high": BESIDE, "ticks": [-10, -5, 0, 5, 10]}
    x = partial(across, title="imbalance (standard uncertainties)", clamp=True, **ends)
    bar = {"x": x("z:Q"), "x2": "zero:Q", "height": 14, "colour": "colour:N"}
    plain = {"fontSize": LABEL - 1, "fontWeight": "normal", "color": COLOUR["ink"]}
    layers = [("nodes", "bar", bar), _figures("nodes", x, **plain)]
    subtitle = "dashed: limits of random variation"
    size = {"labels": 130, "width": 280, "row": 21}
    under = [layer("edge", "limit", x=x("at:Q"))]
    return named_list(
        "Imbalance by stage and transfer", subtitle, layers, under=under, grid=True, **size
    )


def balances_data(found, limit: float, system: str) -> dict[str, list[dict]]:
    """Rows from a Reconciled; `limit` in standard deviations. Joined nodes share one balance."""
    listed = []
    for n, node in enumerate(found.graph.nodes):
        z, words = 0.0, "not checked"
        for check in np.flatnonzero(found.checks.joined[:, n]):
            z, kg = float(found.node_z[check]), float(found.missing_kg[check])
            words = units.show(kg, "kg", system) + beyond(z, REACH, -REACH)
        hue = "unexplained" if abs(z) <= limit else "loss" if z > 0 else "cold"
        listed.append(
            {
                "place": numbered(n, node),
                "z": max(min(z, REACH), -REACH),
                "zero": 0.0,
                "end": BESIDE,
                "words": words,
                "colour": COLOUR[hue],
            }
        )
    return {"nodes": listed, "edge": [{"at": -limit}, {"at": limit}]}


@alt.kept
def worth_chart(system: str) -> dict:
    """The cost of each loss, costliest first, as a share of them all."""
    ticks = [0, 20, 40, 60, 80, 100]
    x = across("share:Q", "% of the cost of all losses", 0, 100, ticks=ticks, clamp=True)
    layers = [
        ("losses", "bar", {"x": x, "colour": "colour:N", "height": 20}),
        ("losses", "words", {"x": x, "text": "words:N", "dx": 7}),
    ]
    subtitle = "at your prices, in your currency; with the weight lost"
    return named_list("Cost of each loss", subtitle, layers, labels=260, width=470, row=29)


def worth_data(found, system: str) -> dict[str, list[dict]]:
    """Rows from Worth. A gain with no addition takes money off and is left out of the picture."""
    priced = [w for w in found.losses if w.money is not None and w.kg > 1e-9]
    total = sum(w.money for w in priced)
    ranked = sorted(priced, key=lambda w: (-w.money, w.label))
    return {
        "losses": [
            {
                "place": numbered(n, w.label),
                "share": 100 * w.money / total if total else 0.0,
                "colour": COLOUR[KINDS[w.kind]],
                "words": _paid(w, system),
            }
            for n, w in enumerate(ranked)
        ]
    }


def _paid(w, system: str) -> str:
    """What a loss cost, its weight, and what a kilogram or pound of it had cost by then."""
    unit = units.shown_unit("kg", system)
    each = w.price_per_kg / float(units.to_shown(1.0, "kg", system))
    return f"{w.money:,.2f} for {units.show(w.kg, 'kg', system)}, {each:.2f} per {unit}"
