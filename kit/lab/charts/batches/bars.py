"""Variance components, and costs: bars with their uncertainty."""

from functools import partial

from kit import units
from kit.batches.compare import COST, Comparison
from kit.batches.components import Components
from kit.batches.costs import Pareto
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, named_list
from kit.lab.charts.style import COLOUR, numbered

PARETO_ROOM = 180
OTHERS, LINES = "all others", 9
"""bars of a Pareto shown at most"""


def _share(field, title, room=130):
    return across(field, title, 0, room, ticks=(0, 25, 50, 75, 100), clamp=True)


# variance components -----------------------------------------------------------------------------------
@alt.kept
def components_chart(system: str) -> dict:
    """Shares of the variance with their intervals."""
    of = "% of the variance"
    layers = (
        ("parts", "bar", {"x": _share("share:Q", of), "colour": "colour:N"}),
        ("parts", "interval", {"x": _share("low:Q", of), "x2": "high:Q"}),
        ("parts", "words", {"x": _share("end:Q", of), "text": "words:N", "dx": 8}),
    )
    return named_list(
        "Variance components", "dark bar: 90 % interval", layers, labels=150, width=245, row=50
    )


def components_data(found: Components) -> dict[str, list[dict]]:
    """Rows for `components_chart`, in the order of the components; what is left within comes last."""
    total, made = found.total, []
    for n, p in enumerate(found.components):
        low, high = (100 * v / total for v in p.interval)
        name = "batch to batch" if p.name == "within" else p.name
        made.append(
            {
                "place": numbered(n, name),
                "share": p.share_pct,
                "low": min(low, 100.0),
                "high": min(high, 100.0),
                "end": max(p.share_pct, min(high, 100.0)),
                "words": f"{p.share_pct:.0f} %, {p.sd:.2f} percentage points",
                "colour": COLOUR["unexplained"] if p.name == "within" else COLOUR["cold"],
            }
        )
    return {"parts": made}


# two groups ---------------------------------------------------------------------------------------------
@alt.kept
def differences_chart(system: str) -> dict:
    """The difference of two groups at each stage and transfer, with its interval."""
    x = partial(across, title="percentage points, second group less first")
    layers = (
        ("lines", "interval", {"x": x("low:Q"), "x2": "high:Q", "colour": "colour:N"}),
        ("lines", "dot", {"x": x("difference:Q"), "colour": "colour:N"}),
        ("lines", "words", {"x": x("high:Q"), "text": "words:N", "dx": 8}),
    )
    return named_list(
        "Difference of two groups",
        "line: 90 % interval; dashed: no difference",
        layers,
        labels=125,
        width=300,
        row=26,
        under=(layer("zero", "limit", x=x("difference:Q")),),
    )


def differences_data(found: Comparison) -> dict[str, list[dict]]:
    """Rows for `differences_chart`; a line whose interval leaves out zero is strong. Transfers that differ by next to nothing are left to the table."""
    lines = [line for line in found.lines if line.line != COST]
    kept = [line for line in lines if line.clear or " to " not in line.line]
    made = []
    for n, line in enumerate(kept):
        d = line.difference
        low, high = d.interval if d.dof > 0 else (d.value, d.value)
        made.append(
            {
                "place": numbered(n, line.line),
                "difference": d.value,
                "low": low,
                "high": high,
                "words": f"{d.value:+.2f}".replace("-", "−"),
                "colour": COLOUR["loss" if line.clear else "unexplained"],
            }
        )
    return {"lines": made, "zero": [{"difference": 0.0}]}


# what it costs ---------------------------------------------------------------------------------
@alt.kept
def pareto_chart(title: str, subtitle: str) -> dict:
    """Largest first, with the interval of what as many batches lose, and the running total of the bars."""
    x = partial(_share, title="% of all losses", room=PARETO_ROOM)
    layers = (
        ("bars", "bar", {"x": x("share:Q"), "colour": "colour:N", "height": 20}),
        ("bars", "interval", {"x": x("low:Q"), "x2": "high:Q", "strokeWidth": 4}),
        ("bars", "words", {"x": x("high:Q"), "text": "words:N", "dx": 8}),
    )
    return named_list(title, subtitle, layers, labels=125, width=300, row=32)


def pareto_data(found: Pareto, system: str, money: bool) -> dict[str, list[dict]]:
    """Rows for `pareto_chart` by kilograms or by money; lines beyond the largest are joined."""
    lines = []
    for b in found.bars:
        price = (b.price_per_kg or 0.0) if money else 1.0
        lines.append((b.name, b.kg * price, *(end * price for end in b.kg_interval)))
    lines = sorted((line for line in lines if line[1] > 0), key=lambda line: -line[1])
    total = sum(line[1] for line in lines) or 1.0
    if len(lines) > LINES:
        rest = sum(line[1] for line in lines[LINES - 1 :])
        lines = [*lines[: LINES - 1], (OTHERS, rest, rest, rest)]
    made, so_far = [], 0.0
    for n, (name, amount, low, high) in enumerate(lines):
        so_far += 100 * amount / total
        said = f"{amount:,.0f}" if money else units.show(amount, "kg", system, 0)
        made.append(
            {
                "place": numbered(n, name),
                "share": 100 * amount / total,
                "low": max(100 * low / total, 0),
                "high": min(100 * high / total, 112.0),
                "words": f"{said}; total {so_far:.0f} %",
                "colour": COLOUR["unexplained"] if name == OTHERS else COLOUR["loss"],
            }
        )
    return {"bars": made}
