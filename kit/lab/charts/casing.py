"""What a metre of casing holds, what a link weighs, how far weights and lengths scatter."""

import altair as alt
import numpy as np

from kit import units
from kit.casing.geometry import fill_g_per_m, link_weight_g
from kit.casing.kinds import natural
from kit.lab.charts.marks import across, layer, up
from kit.lab.charts.style import COLOUR, WIDTH, finished

MM_LOW, MM_HIGH, FILL_HIGH, LINK_HIGH = 12.0, 40.0, 1400.0, 200.0
OFF_LOW, OFF_HIGH, SHARE_HIGH, BIN = -15.0, 15.0, 45.0, 1.0
RING = {"size": 240, "clip": False}
NAMES = {"text": "words:N", "halo": True, "dx": 0}


def _shown(value, unit: str, system: str) -> float:
    return float(units.to_shown(value, unit, system))


def _diameter(title: str, system: str) -> alt.X:
    low, high = (_shown(v, "mm", system) for v in (MM_LOW, MM_HIGH))
    return across("mm:Q", f"{title}, {units.shown_unit('mm', system)}", low, high)


def fill_chart(system: str) -> dict:
    """Weight per metre against diameter.

    The full round as a curve, what a metre of sheep casing bought takes as bars, this casing as a ring.
    """
    x = _diameter("stuffed diameter or calibre", system)
    title, high = f"{units.shown_unit('g/m', system)} stuffed", _shown(FILL_HIGH, "g/m", system)
    y = up("fill:Q", title, 0, high, clamp=True)
    bought = {"color": COLOUR["added water"], "stroke": COLOUR["cold"]}
    layers = alt.layer(
        layer("round", "line", x=x, y=y, colour="ink", strokeWidth=3),
        layer("table", "field", x=x, x2="to:Q", y=y, y2="top:Q", **bought),
        layer("here", "ring", x=x, y=y, **RING),
        layer("names", "words", x=x, y=y, **NAMES),
    )
    return finished(
        layers.properties(width=WIDTH - 20, height=300),
        "What a length of casing holds",
        "ring: this casing",
    )


def fill_data(casing, density, calibre_mm: float, names, system: str) -> dict[str, list[dict]]:
    """Rows for `fill_chart`. names: of the trade table's casings; calibre_mm: where the ring stands."""

    def at(mm: float, grams: float, **more) -> dict:
        return {"mm": _shown(mm, "mm", system), "fill": _shown(grams, "g/m", system), **more}

    mm = np.linspace(MM_LOW, MM_HIGH, 57)
    table = []
    for name in (n for n in names if "-" in n):
        low, high = map(float, name.split()[1].split("-"))
        least, most = natural(name, density).hank.g_per_m
        top = {"to": _shown(high, "mm", system), "top": _shown(most, "g/m", system)}
        table.append(at(low, least, **top))
    fill = fill_g_per_m(mm, density.kg_per_m3)
    return {
        "round": [at(a, b) for a, b in zip(mm.tolist(), fill.tolist())],
        "table": table,
        "names": [
            at(22.5, 800.0, words="a full round"),
            at(25.5, 180.0, words="blue: bought, sheep"),
        ],
        "here": [at(calibre_mm, casing.g_per_m)],
    }


def weight_chart(system: str) -> dict:
    """Link weight against diameter at the link's length and a tenth more or less; green: wanted."""
    x = _diameter("diameter of the round", system)
    title, high = f"one link, {units.shown_unit('g', system)}", _shown(LINK_HIGH, "g", system)
    y = up("g:Q", title, 0, high, clamp=True)
    dash = alt.Scale(domain=["set", "off"], range=[[1, 0], [3, 4]])
    look = {
        "detail": "length:N",
        "strokeWidth": alt.StrokeWidth("width:Q", scale=None),
        "strokeDash": alt.StrokeDash("dash:N", legend=None, scale=dash),
    }
    layers = alt.layer(
        layer("band", "field", x=x, x2="to:Q", y=y, y2="top:Q"),
        layer("lines", "line", x=x, y=y, colour="ink", **look),
        layer("here", "ring", x=x, y=y, **RING),
        layer("names", "words", x=x, y=y, **NAMES),
    )
    return finished(
        layers.properties(width=WIDTH - 20, height=300),
        "What one link weighs",
        "green: as wanted; dotted: length 10 % off",
    )


def weight_data(plan, low_g: float, high_g: float, system: str) -> dict[str, list[dict]]:
    """Rows for `weight_chart` from a LinkPlan and the wanted range."""

    def at(mm: float, grams: float, **more) -> dict:
        return {"mm": _shown(mm, "mm", system), "g": _shown(grams, "g", system), **more}

    mm = np.linspace(MM_LOW, MM_HIGH, 43)
    lines = []
    for share in (0.9, 1.0, 1.1):
        length, rho = plan.link_length_mm * share, plan.casing.density.kg_per_m3
        grams = link_weight_g(mm, length, rho)
        kept = mm <= np.interp(LINK_HIGH, grams, mm)
        look = {"length": f"{share:g}", "dash": "off", "width": 2}
        if share == 1:
            look |= {"dash": "set", "width": 4}
        lines += [at(a, b, **look) for a, b in zip(mm[kept], grams[kept])]
    top = {"to": _shown(MM_HIGH, "mm", system), "top": _shown(high_g, "g", system)}
    here = f"{units.show(plan.link_weight_g, 'g', system)} here"
    return {
        "band": [at(MM_LOW, low_g, **top)],
        "lines": lines,
        "here": [at(plan.casing.diameter_mm, plan.link_weight_g)],
        "names": [at(13.0, 185.0, words=here)],
    }


def histogram_chart(system: str) -> dict:
    """Share of the pieces by how far they miss what is wanted; red outside."""
    x = across("off:Q", "% off what is wanted", OFF_LOW, OFF_HIGH, ticks=range(-15, 16, 5))
    y = up("share:Q", "% of the pieces", 0, SHARE_HIGH, ticks=5, clamp=True)
    high = alt.Scale(domain=[0, SHARE_HIGH], nice=False, clamp=True)
    named = {"y": alt.YDatum(SHARE_HIGH, scale=high), "dy": -4, "baseline": "bottom"}
    tip = [alt.Tooltip("count:Q", title="pieces")]
    bars = {"x2": "to:Q", "y2": alt.datum(0), "stroke": "white", "strokeWidth": 1, "clip": True}
    bars["height"] = alt.Undefined  # as high as its share
    layers = alt.layer(
        layer("bars", "bar", x=x, y=y, colour="colour:N", **bars).encode(tooltip=tip),
        layer("edges", "limit", x=x),
        layer("low", "words", x=x, text="words:N", align="right", **named | {"dx": 18}),
        layer("high", "words", x=x, text="words:N", align="left", **named | {"dx": -18}),
    )
    return finished(
        layers.properties(width=WIDTH, height=280),
        "How far they scatter",
        "dashed: your limits; red: outside; end bars: all beyond",
    )


def histogram_data(
    unit: str, values, wanted: float, tolerance_pct: float, system: str
) -> dict[str, list[dict]]:
    """Rows from measured values, and limits in percent of what is wanted.

    Values past the axis stand in its last bar.
    """
    off = 100 * (np.asarray(values) / wanted - 1)
    edges = np.arange(OFF_LOW, OFF_HIGH + BIN / 2, BIN)
    counts, _ = np.histogram(np.clip(off, OFF_LOW + 1e-6, OFF_HIGH - 1e-6), edges)
    bars = []
    for a, n in zip(edges[:-1].tolist(), counts.tolist()):
        if n:
            colour = COLOUR["fails" if abs(a + BIN / 2) > tolerance_pct else "cold"]
            share = 100 * n / off.size
            bars.append({"off": a, "to": a + BIN, "share": share, "count": n, "colour": colour})
    low, high = (
        {"off": pct, "words": units.show(wanted * (1 + pct / 100), unit, system)}
        for pct in (-tolerance_pct, tolerance_pct)
    )
    return {"bars": bars, "edges": [low, high], "low": [low], "high": [high]}
