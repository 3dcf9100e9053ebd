"""What the mix is made of, how much of each limit it uses, and where on the map of ice and lean it stands."""

import numpy as np

from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, picture, up
from kit.lab.charts.style import COLOUR, LABEL, WIDTH, colours, names_down, numbered
from kit.lab.panels.view import columns

PARTS = ("protein", "fat", "carbohydrate", "added water", "water", "salt")
NAMES = {
    "protein": "protein",
    "fat": "fat",
    "carbohydrate": "carbohydrate and rest",
    "added water": "added ice and water",
    "water": "water in the meat",
    "salt": "salt and ash",
}


@alt.kept
def composition_chart(system: str) -> dict:
    """Two bars from 0 to 100 %: the raw batter and the finished product, each part named on its segment."""
    look = alt.Axis(labelFontSize=LABEL + 1, ticks=False, domain=False, labelLimit=120)
    y = alt.Y("which:N", title=None, sort=None, axis=look)
    names = " : ".join(f"datum.label == '{part}' ? '{name}'" for part, name in NAMES.items())
    legend = alt.Legend(
        title=None, columns=2, symbolType="square", labelExpr=f"{names} : datum.label"
    )
    bar = layer(
        "parts",
        "bar",
        stroke="white",
        strokeWidth=2,
        height={"band": 0.64},
        y=y,
        x=across("from:Q", "% of weight", 0, 100, ticks=range(0, 101, 20)),
        x2="to:Q",
        color=alt.Color("part:N", scale=colours(*PARTS), legend=legend),
    )
    words = layer(
        "parts", "words", align="center", dx=0, y=y, x="middle:Q", text="label:N", colour="ink:N"
    )
    subtitle = "raw batter, and finished product after the cook"
    return picture("Composition", subtitle, (WIDTH - 40, 170), bar, words)


def composition_data(batter, end) -> dict[str, list[dict]]:
    """Rows for `composition_chart` from a raw and a cooked Composition. Cook loss is taken from the water of the meat last put in: the added water."""
    return {"parts": [*_bar("raw batter", batter), *_bar("finished", end)]}


def _bar(which, mix):
    added_kg = max(mix.added_water_kg - (mix.put_in_kg - mix.total_kg), 0)
    added = 100 * added_kg / mix.total_kg
    pct = {
        "protein": mix.protein_pct,
        "fat": mix.fat_pct,
        "carbohydrate": mix.carbohydrate_pct + mix.unaccounted_pct,
        "added water": added,
        "water": mix.water_pct - added,
        "salt": mix.ash_pct,
    }
    start = 0.0
    for part in PARTS:
        dark = part in ("protein", "salt")
        yield {
            "which": which,
            "part": part,
            "from": start,
            "to": start + pct[part],
            "middle": start + pct[part] / 2,
            "label": f"{pct[part]:.0f}" if pct[part] >= 4 else "",
            "ink": "white" if dark else COLOUR["ink"],
        }
        start += pct[part]


def composition_text(batter, end) -> str:
    return (
        f"Bars of composition. Raw batter: water {batter.water_pct:.1f} %, fat {batter.fat_pct:.1f} %, protein {batter.protein_pct:.1f} %. "
        f"Finished: water {end.water_pct:.1f} %, fat {end.fat_pct:.1f} %, protein {end.protein_pct:.1f} %."
    )


@alt.kept
def limits_chart(system: str) -> dict:
    """How much of each limit is used: a bar per rule, the limit as one dashed line at 100 %."""
    y = names_down("place", 190)
    states = alt.Scale(domain=["within", "over"], range=[COLOUR["cold"], COLOUR["fails"]])
    bar = layer(
        "limits",
        "bar",
        height=24,
        y=y,
        x=across("used:Q", "% of limit", 0, 150, ticks=range(0, 151, 25), clamp=True),
        color=alt.Color("state:N", scale=states, legend=None),
    )
    uncertainty = layer("limits", "interval", opacity=0.55, y=y, x="low:Q", x2="high:Q")
    words = {"y": y, "text": "words:N"}
    beside = {"x": "at:Q", "colour": "ink", "where": "datum.used <= 100"}
    inside = {"x": alt.value(0), "colour": "white", "where": "datum.used > 100"}
    return picture(
        "Use of each limit",
        "dashed: limit; dark bar: 90 % interval of fat",
        (WIDTH - 130, alt.Step(40)),
        bar,
        uncertainty,
        layer("edge", "limit", x="at:Q"),
        layer("limits", "quiet words", **words, **beside),
        layer("limits", "quiet words", **words, **inside),
    )


def limits_data(verdicts, fat=None) -> dict[str, list[dict]]:
    """Rows for `limits_chart`: the rules that this mix touches. `fat` is the uncertainty of fat, drawn on the rules for fat alone."""
    found = []
    for v in verdicts:
        if v.value is None or not v.limit.limit or (abs(v.value) < 1e-9 and v.holds):
            continue
        used = 100 * v.value / v.limit.limit
        row = {
            "place": numbered(len(found), v.limit.title),
            "used": max(used, 0),
            "state": "within" if v.holds else "over",
            "words": f"{'' if v.holds else '✗ '}{v.value:.1f} of {v.limit.limit:g} {v.limit.unit}".strip(),
            "at": min(max(used, 101), 108),
            "low": max(used, 0),
            "high": max(used, 0),
        }
        if fat is not None and fat.sd_pct and v.limit.quantity == "fat_pct_of_finished":
            row["low"] = 100 * max(fat.low_pct, 0) / v.limit.limit
            row["high"] = 100 * fat.high_pct / v.limit.limit
            row["at"] = min(max(row["at"], row["high"]), 108)
        found.append(row)
    return {"limits": found, "edge": [{"at": 100}]}


@alt.kept
def map_chart(system: str) -> dict:
    """Ice against lean share: each limit as a line, the room where all hold as a pale field, the batch as a point with its uncertainty."""
    place = {
        "x": across("lean:Q", "lean meat (% of meat block)", 0, 100),
        "y": up("ice:Q", "ice (% of meat block)", 0, 70),
    }
    stacked = alt.expr("-3 - 19 * datum.line")  # names of limits that fall together
    return picture(
        "Lean meat and ice within the limits",
        "green: all limits met; ring: this batch; dots: its uncertainty",
        (WIDTH + 140, 380),
        layer("field", "area", color="#dfeadd", opacity=0.9, y2="floor:Q", **place),
        layer(
            "lines",
            "line",
            strokeWidth=3,
            detail="rule:N",
            strokeDash=alt.StrokeDash("rule:N", legend=None),
            color=alt.value(COLOUR["limit"]),
            **place,
        ),
        layer(
            "cloud",
            "dot",
            size=34,
            opacity=0.75,
            colour="fat",
            stroke=COLOUR["ink"],
            strokeWidth=0.6,
            clip=True,
            **place,
        ),
        layer("names", "words", halo=True, baseline="bottom", dy=stacked, text="rule:N", **place),
        layer("here", "ring", size=260, clip=False, **place),
    )


def map_data(grid) -> dict[str, list[dict]]:
    """Rows for `map_chart` from kit.chain.map.Map."""
    field = [
        row
        for row in columns(lean=grid.lean_pct, ice=grid.most_ice_pct, floor=grid.least_ice_pct)
        if row["ice"] > row["floor"]
    ]
    lines, names = [], []
    for title, reached in grid.edges:
        inside = np.isfinite(reached) & (reached >= 0) & (reached <= 70)
        lines += [
            {"rule": title} | row
            for row in columns(lean=grid.lean_pct[inside], ice=reached[inside])
        ]
        if inside.any():
            within = np.flatnonzero(inside)
            spot = int(within[2 * len(within) // 3])
            lean, ice = min(float(grid.lean_pct[spot]), 54.0), float(reached[spot])
            below = [n for n in names if abs(n["ice"] - ice) < 3 and abs(n["lean"] - lean) < 30]
            at = below[0] if below else {"lean": lean, "ice": ice}
            names.append(at | {"rule": title, "line": len(below)})
    return {
        "field": field or [{"lean": 0, "ice": 0, "floor": 0}],
        "lines": lines,
        "names": names,
        "cloud": columns(lean=grid.cloud_lean_pct, ice=grid.cloud_ice_pct),
        "here": [{"lean": grid.here_lean_pct, "ice": grid.here_ice_pct}],
    }


@alt.kept
def uncertainty_chart(system: str) -> dict:
    """How likely each fat content is, before and after a fat test of the trim, with the limit."""
    bare = {"labels": False, "grid": False}
    place = {
        "x": across("fat:Q", "fat of the finished product (%)", 10, 45),
        "y": up("height:Q", "probability density", 0, 1.08, **bare),
    }
    return picture(
        "Uncertainty of fat",
        "red: above the limit; dotted: after a fat test of the trim",
        (WIDTH, 230),
        layer("now", "area", color=COLOUR["fat"], opacity=0.8, **place),
        layer("now", "area", color=COLOUR["fails"], opacity=0.85, where="datum.over", **place),
        layer("after", "dots", colour="ink", **place),
        layer("limit", "limit", x="at:Q"),
        layer("limit", "words", x="at:Q", y=alt.datum(1.03), text="words:N"),
    )


def uncertainty_data(before, after, limit_pct: float) -> dict[str, list[dict]]:
    """Rows for `doubt_chart`: heights are relative to the tallest curve, so that areas compare."""
    fat = np.linspace(10, 45, 141)
    tallest = 1 / min(d.sd_pct for d in (before, after) if d.sd_pct) if before.sd_pct else 1.0
    return {
        "now": columns(fat=fat, height=_bell(before, fat, tallest), over=fat >= limit_pct),
        "after": columns(fat=fat, height=_bell(after, fat, tallest)),
        "limit": [{"at": limit_pct, "words": f"limit {limit_pct:g} %"}],
    }


def _bell(uncertainty, fat, tallest) -> list[float]:
    away, sd = fat - uncertainty.mean_pct, uncertainty.sd_pct
    if not sd:
        return np.where(np.abs(away) <= (fat[1] - fat[0]) / 2, 1.0, 0.0).tolist()
    return (np.exp(-0.5 * (away / sd) ** 2) / sd / tallest).tolist()
