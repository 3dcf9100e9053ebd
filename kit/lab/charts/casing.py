"""What a metre of casing holds, what a link weighs, how far weights and lengths scatter, and what makes them."""

import altair as alt
import numpy as np

from kit import units
from kit.casing import fill_g_per_m, link_weight_g, natural
from kit.lab.charts.style import (
    COLOUR,
    LABEL,
    LIMIT_DASH,
    WIDTH,
    finished,
    names_down,
    numbered,
    rows,
)

MM_LOW, MM_HIGH, FILL_HIGH, LINK_HIGH = 12.0, 40.0, 1400.0, 200.0
OFF_LOW, OFF_HIGH, SHARE_HIGH, BIN = -15.0, 15.0, 45.0, 1.0
FIELD = "#dfeadd"


def _mm(value, system):
    return units.to_shown(value, "mm", system)


def _across(system, field="mm:Q", title="stuffed diameter or calibre"):
    return alt.X(
        field,
        title=f"{title}, {units.shown_unit('mm', system)}",
        scale=alt.Scale(domain=[float(_mm(v, system)) for v in (MM_LOW, MM_HIGH)], nice=False),
        axis=alt.Axis(tickCount=6),
    )


def fill_chart(system: str) -> dict:
    """Weight per metre against diameter: the full round as a curve, what a metre of sheep casing bought takes as bars, this casing as a ring."""
    x = _across(system)
    y = alt.Y(
        "fill:Q",
        title=f"{units.shown_unit('g/m', system)} stuffed",
        scale=alt.Scale(
            domain=[0, float(units.to_shown(FILL_HIGH, "g/m", system))], nice=False, clamp=True
        ),
        axis=alt.Axis(tickCount=6),
    )
    line = (
        alt.Chart(rows("round"))
        .mark_line(color=COLOUR["ink"], strokeWidth=3, clip=True)
        .encode(x=x, y=y)
    )
    table = (
        alt.Chart(rows("table"))
        .mark_rect(color=COLOUR["added water"], stroke=COLOUR["cold"], strokeWidth=1.5)
        .encode(x=x, x2="to:Q", y=y, y2="top:Q")
    )
    point = (
        alt.Chart(rows("here"))
        .mark_point(
            size=240, filled=True, opacity=1, color="white", stroke=COLOUR["point"], strokeWidth=4
        )
        .encode(x=x, y=y)
    )
    halo, words = (
        alt.Chart(rows("names"))
        .mark_text(fontSize=LABEL, fontWeight=600, align="left", **more)
        .encode(x=x, y=y, text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    return finished(
        (line + table + point + halo + words).properties(width=WIDTH - 20, height=300),
        "What a length of casing holds",
        "ring: this casing",
    )


def fill_data(casing, density, calibre_mm: float, names, system: str) -> dict[str, list[dict]]:
    """Rows for `fill_chart`. `names` of the trade table's casings; `calibre_mm` where the ring stands."""
    mm = np.linspace(MM_LOW, MM_HIGH, 57)
    fill = units.to_shown(fill_g_per_m(mm, density.kg_per_m3), "g/m", system)
    table = []
    for name in (n for n in names if "-" in n):
        low, high = map(float, name.split()[1].split("-"))
        least, most = (
            float(units.to_shown(g, "g/m", system)) for g in natural(name, density).hank.g_per_m
        )
        table.append(
            {
                "mm": float(_mm(low, system)),
                "to": float(_mm(high, system)),
                "fill": least,
                "top": most,
            }
        )
    tag = {
        "mm": float(_mm(22.5, system)),
        "fill": float(units.to_shown(800.0, "g/m", system)),
        "words": "a full round",
    }
    sheep = {
        "mm": float(_mm(25.5, system)),
        "fill": float(units.to_shown(180.0, "g/m", system)),
        "words": "blue: bought, sheep",
    }
    return {
        "round": [
            {"mm": a, "fill": b}
            for a, b in zip(np.asarray(_mm(mm, system)).tolist(), fill.tolist())
        ],
        "table": table,
        "names": [tag, sheep],
        "here": [
            {
                "mm": float(_mm(calibre_mm, system)),
                "fill": float(units.to_shown(casing.g_per_m, "g/m", system)),
            }
        ],
    }


def fill_text(casing) -> str:
    return (
        f"Weight per metre against diameter, rising with its square. {casing.name} holds {casing.g_per_m:.0f} g per metre, "
        f"{casing.g_per_m_low:.0f} to {casing.g_per_m_high:.0f} by its source. A metre of sheep casing bought by the hank takes less than its full round."
    )


def weight_chart(system: str) -> dict:
    """Link weight against diameter at the link's length and a tenth more or less; the wanted weight as a green band."""
    x = _across(system, title="diameter of the round")
    y = alt.Y(
        "g:Q",
        title=f"one link, {units.shown_unit('g', system)}",
        axis=alt.Axis(tickCount=6),
        scale=alt.Scale(
            domain=[0, float(units.to_shown(LINK_HIGH, "g", system))], nice=False, clamp=True
        ),
    )
    band = (
        alt.Chart(rows("band"))
        .mark_rect(color=FIELD, stroke=COLOUR["meets"], strokeWidth=1.5)
        .encode(x=x, x2="to:Q", y=y, y2="top:Q")
    )
    lines = (
        alt.Chart(rows("lines"))
        .mark_line(color=COLOUR["ink"], clip=True)
        .encode(
            x=x,
            y=y,
            detail="length:N",
            strokeWidth=alt.StrokeWidth("width:Q", scale=None),
            strokeDash=alt.StrokeDash(
                "dash:N",
                legend=None,
                scale=alt.Scale(domain=["set", "off"], range=[[1, 0], [3, 4]]),
            ),
        )
    )
    point = (
        alt.Chart(rows("here"))
        .mark_point(
            size=240, filled=True, opacity=1, color="white", stroke=COLOUR["point"], strokeWidth=4
        )
        .encode(x=x, y=y)
    )
    halo, words = (
        alt.Chart(rows("names"))
        .mark_text(fontSize=LABEL, fontWeight=600, align="left", **more)
        .encode(x=x, y=y, text="words:N")
        for more in ({"stroke": "white", "strokeWidth": 5}, {})
    )
    return finished(
        (band + lines + point + halo + words).properties(width=WIDTH - 20, height=300),
        "What one link weighs",
        "green: as wanted; dotted: length 10 % off",
    )


def weight_data(plan, low_g: float, high_g: float, system: str) -> dict[str, list[dict]]:
    """Rows for `weight_chart` from a LinkPlan and the wanted range."""
    mm = np.linspace(MM_LOW, MM_HIGH, 43)
    lines = []
    for share in (0.9, 1.0, 1.1):
        grams = units.to_shown(
            link_weight_g(mm, plan.link_length_mm * share, plan.casing.density_kg_per_m3),
            "g",
            system,
        )
        kept = mm <= np.interp(LINK_HIGH, units.from_shown(grams, "g", system), mm)
        lines += [
            {
                "mm": a,
                "g": b,
                "length": f"{share:g}",
                "dash": "set" if share == 1 else "off",
                "width": 4 if share == 1 else 2,
            }
            for a, b in zip(np.asarray(_mm(mm, system))[kept].tolist(), grams[kept].tolist())
        ]
    here = float(units.to_shown(plan.link_weight_g, "g", system))
    ends = [float(_mm(v, system)) for v in (MM_LOW, MM_HIGH)]
    return {
        "band": [
            {
                "mm": ends[0],
                "to": ends[1],
                "g": float(units.to_shown(low_g, "g", system)),
                "top": float(units.to_shown(high_g, "g", system)),
            }
        ],
        "lines": lines,
        "here": [{"mm": float(_mm(plan.casing.diameter_mm, system)), "g": here}],
        "names": [
            {
                "mm": float(_mm(13.0, system)),
                "g": float(units.to_shown(185.0, "g", system)),
                "words": f"{units.show(plan.link_weight_g, 'g', system)} here",
            }
        ],
    }


def weight_text(plan, low_g: float, high_g: float) -> str:
    return (
        f"Curve of link weight against diameter at {plan.link_length_mm:.0f} mm length. This link weighs {plan.link_weight_g:.1f} g; "
        f"{low_g:.1f} to {high_g:.1f} g is wanted."
    )


def histogram_chart(system: str) -> dict:
    """Share of the pieces by how far they lie off what is wanted; red outside the limits; the fitted normal curve over it."""
    x = alt.X(
        "off:Q",
        title="% off what is wanted",
        scale=alt.Scale(domain=[OFF_LOW, OFF_HIGH], nice=False),
        axis=alt.Axis(values=[-15, -10, -5, 0, 5, 10, 15]),
    )
    y = alt.Y(
        "share:Q",
        title="% of the pieces",
        scale=alt.Scale(domain=[0, SHARE_HIGH], nice=False, clamp=True),
        axis=alt.Axis(tickCount=5),
    )
    bars = (
        alt.Chart(rows("bars"))
        .mark_bar(stroke="white", strokeWidth=1, clip=True)
        .encode(
            x=x,
            x2="to:Q",
            y=y,
            y2=alt.datum(0),
            color=alt.Color("colour:N", scale=None),
            tooltip=[alt.Tooltip("count:Q", title="pieces")],
        )
    )
    curve = (
        alt.Chart(rows("curve"))
        .mark_line(color=COLOUR["ink"], strokeWidth=3, clip=True)
        .encode(x=x, y=y)
    )
    edges = (
        alt.Chart(rows("edges"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=3, color=COLOUR["limit"])
        .encode(x=x)
    )
    top = alt.YDatum(SHARE_HIGH, scale=alt.Scale(domain=[0, SHARE_HIGH], nice=False, clamp=True))
    low, high = (
        alt.Chart(rows(name))
        .mark_text(fontSize=LABEL, fontWeight=600, dx=dx, dy=-4, baseline="bottom", align=align)
        .encode(x=x, y=top, text="words:N")
        for name, align, dx in (("low", "right", 18), ("high", "left", -18))
    )
    return finished(
        (bars + curve + edges + low + high).properties(width=WIDTH, height=280),
        "How far they scatter",
        "dashed: your limits; red: outside; end bars: all beyond",
    )


def histogram_data(
    found, values, wanted: float, tolerance_pct: float, system: str
) -> dict[str, list[dict]]:
    """Rows for `histogram_chart` from a Scatter, its values, and the limits in percent of what is wanted. Values past the axis stand in its last bar."""
    off = 100 * (np.asarray(values) / wanted - 1)
    edges = np.arange(OFF_LOW, OFF_HIGH + BIN / 2, BIN)
    counts, _ = np.histogram(np.clip(off, OFF_LOW + 1e-6, OFF_HIGH - 1e-6), edges)
    bars = [
        {
            "off": a,
            "to": a + BIN,
            "share": 100 * n / off.size,
            "count": n,
            "colour": COLOUR["fails"]
            if a + BIN / 2 > tolerance_pct or a + BIN / 2 < -tolerance_pct
            else COLOUR["cold"],
        }
        for a, n in zip(edges[:-1].tolist(), counts.tolist())
        if n
    ]
    grid, curve = np.linspace(OFF_LOW, OFF_HIGH, 121), []
    if found.sd > 0:
        middle, spread = 100 * (found.mean / wanted - 1), 100 * found.sd / wanted
        curve = [
            {"off": a, "share": b}
            for a, b in zip(
                grid.tolist(),
                (
                    100
                    * BIN
                    * np.exp(-0.5 * ((grid - middle) / spread) ** 2)
                    / (spread * np.sqrt(2 * np.pi))
                ).tolist(),
            )
        ]
    named = [
        {
            "off": side * tolerance_pct,
            "words": units.show(wanted * (1 + side * tolerance_pct / 100), found.unit, system),
        }
        for side in (-1, 1)
    ]
    return {"bars": bars, "curve": curve, "edges": named, "low": named[:1], "high": named[1:]}


def histogram_text(found) -> str:
    return (
        f"Histogram of {found.n} values: mean {found.mean:.2f} {found.unit}, spread {found.sd:.2f} {found.unit}, {found.least:g} to {found.greatest:g}. "
        f"{found.outside.counted} lie outside the limits."
    )


def drivers_chart(system: str) -> dict:
    """What the scatter of the weights came with: a bar per part with its interval."""
    y = names_down("place", 150)

    def x(field):
        return alt.X(
            field,
            title="% of the variance",
            scale=alt.Scale(domain=[-20, 120], nice=False, clamp=True),
            axis=alt.Axis(values=[0, 25, 50, 75, 100]),
        )

    bar = (
        alt.Chart(rows("parts"))
        .mark_bar(height=26)
        .encode(y=y, x=x("zero:Q"), x2="share:Q", color=alt.Color("colour:N", scale=None))
    )
    doubt = (
        alt.Chart(rows("parts"))
        .mark_rule(strokeWidth=5, color=COLOUR["ink"], opacity=0.6)
        .encode(y=y, x=x("low:Q"), x2="high:Q")
    )
    words = (
        alt.Chart(rows("parts"))
        .mark_text(align="left", dx=8, fontSize=LABEL, fontWeight=600)
        .encode(y=y, x=x("high:Q"), text="words:N")
    )
    return finished(
        (bar + doubt + words).properties(width=230, height=alt.Step(64)),
        "What makes the weights differ",
        "dark bar: 95 % interval",
    )


def drivers_data(found) -> dict[str, list[dict]]:
    """Rows for `drivers_chart` from Drivers."""
    short = {"density, shape and measuring errors": "all the rest"}
    return {
        "parts": [
            {
                "place": numbered(n, short.get(p.name, p.name)),
                "share": p.share_pct,
                "zero": 0.0,
                "low": p.low_pct,
                "high": p.high_pct,
                "words": f"{p.share_pct:.0f} %".replace("-", "−"),
                "colour": COLOUR["cold"] if p.name == found.verdict else COLOUR["unexplained"],
            }
            for n, p in enumerate(found.parts)
        ]
    }
