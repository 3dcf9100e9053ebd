"""What a metre of casing holds, how far weights and lengths scatter."""

import numpy as np

from kit import units
from kit.casing.geometry import fill_g_per_m
from kit.casing.kinds import hanks
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, measured, picture, up
from kit.lab.charts.style import COLOUR, WIDTH

MM_LOW, MM_HIGH, FILL_HIGH = 12.0, 40.0, 1400.0
OFF_LOW, OFF_HIGH, SHARE_HIGH, BIN = -15.0, 15.0, 45.0, 1.0


@alt.kept
def fill_chart(system: str) -> dict:
    """Weight per metre against diameter: the full round as a curve, what a metre of sheep casing bought takes as bars, what the
    target link takes in green, this casing as a ring."""
    x = measured(across, "mm:Q", "stuffed diameter or calibre", "mm", system, MM_LOW, MM_HIGH)
    title = "batter in the casing"
    y = measured(up, "fill:Q", title, "g/m", system, 0, FILL_HIGH, clamp=True)
    bought = {"color": COLOUR["added water"], "stroke": COLOUR["cold"]}
    area = {"x": x, "x2": "to:Q", "y": y, "y2": "top:Q"}
    return picture(
        "Batter per length of casing",
        "ring: this casing; green: target weight at this length",
        (WIDTH, 320),
        layer("wanted", "field", **area),
        layer("round", "line", x=x, y=y, colour="ink", strokeWidth=3),
        layer("table", "field", **area, **bought),
        layer("here", "ring", x=x, y=y, size=240, clip=False),
        layer("names", "words", x=x, y=y, text="words:N", halo=True, dx=0),
    )


def fill_data(plan, wanted_g: tuple[float, float], calibre_mm: float, system: str) -> dict:
    """Rows for `fill_chart` from a LinkPlan. wanted_g: least and most of a link; calibre_mm: where the ring stands."""
    casing, density = plan.casing, plan.casing.density

    def at(mm: float, grams: float, **more) -> dict:
        return {
            "mm": units.to_shown(mm, "mm", system),
            "fill": units.to_shown(grams, "g/m", system),
            **more,
        }

    def box(left: float, right: float, least: float, most: float) -> dict:
        top = {
            "to": units.to_shown(right, "mm", system),
            "top": units.to_shown(most, "g/m", system),
        }
        return at(left, least, **top)

    mm = np.linspace(MM_LOW, MM_HIGH, 57)
    fill = fill_g_per_m(mm, density.kg_per_m3)
    graded = [hank for hank in hanks().values() if hank.calibre_high_mm]
    wanted = (min(1000 * grams / plan.link_length_mm, FILL_HIGH) for grams in wanted_g)
    here = f"{units.show(plan.link_weight_g, 'g', system)} per link here"
    return {
        "wanted": [box(MM_LOW, MM_HIGH, *wanted)],
        "round": list(map(at, mm.tolist(), fill.tolist())),
        "table": [box(h.calibre_low_mm, h.calibre_high_mm, *h.g_per_m) for h in graded],
        "names": [
            at(13.0, 1300.0, words=here),
            at(30.0, 1200.0, words="full round casing"),
            at(25.5, 180.0, words="blue: sheep, trade table"),
        ],
        "here": [at(calibre_mm, casing.g_per_m)],
    }


@alt.kept
def histogram_chart(system: str) -> dict:
    """Share of the links by their deviation from target; red outside."""
    x = across("off:Q", "deviation from target (%)", OFF_LOW, OFF_HIGH, ticks=range(-15, 16, 5))
    y = up("share:Q", "share of the links (%)", 0, SHARE_HIGH, ticks=5, clamp=True)
    high = alt.Scale(domain=[0, SHARE_HIGH], nice=False, clamp=True)
    named = {"y": alt.YDatum(SHARE_HIGH, scale=high), "dy": -4, "baseline": "bottom"}
    bars = {"x2": "to:Q", "y2": alt.datum(0), "stroke": "white", "strokeWidth": 1, "clip": True}
    bars["height"] = alt.Undefined  # as high as its share
    return picture(
        "Scatter of the links",
        "dashed: your limits; red: outside; end bars: everything beyond",
        (WIDTH, 280),
        layer("bars", "bar", x=x, y=y, colour="colour:N", **bars),
        layer("edges", "limit", x=x),
        layer("low", "words", x=x, text="words:N", align="right", **named | {"dx": 18}),
        layer("high", "words", x=x, text="words:N", align="left", **named | {"dx": -18}),
    )


def histogram_data(
    unit: str, values, wanted: float, tolerance_pct: float, system: str
) -> dict[str, list[dict]]:
    """Rows from measured values, and limits in percent of the target.

    Values beyond the axis are in its last bar.
    """
    off = 100 * (np.asarray(values) / wanted - 1)
    edges = np.arange(OFF_LOW, OFF_HIGH + BIN / 2, BIN)
    counts, _ = np.histogram(np.clip(off, OFF_LOW + 1e-6, OFF_HIGH - 1e-6), edges)
    bars = []
    for a, n in zip(edges[:-1].tolist(), counts.tolist()):
        if n:
            colour = COLOUR["fails" if abs(a + BIN / 2) > tolerance_pct else "cold"]
            share = 100 * n / off.size
            bars.append({"off": a, "to": a + BIN, "share": share, "colour": colour})
    low, high = (
        {"off": pct, "words": units.show(wanted * (1 + pct / 100), unit, system)}
        for pct in (-tolerance_pct, tolerance_pct)
    )
    return {"bars": bars, "edges": [low, high], "low": [low], "high": [high]}
