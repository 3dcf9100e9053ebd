"""Charts of lesson 04: margins and cook-out, the film on the drops, corrective actions, and the model beside what was measured."""

import altair as alt
import numpy as np

from kit.lab.charts.marks import across, layer, named_list, up
from kit.lab.charts.style import COLOUR, WIDTH, beyond, finished, numbered
from kit.lab.panels.view import columns

LIMIT_WORDS = {
    "coverage": "film on the drops",
    "temperature": "temperature",
    "fat load": "fat load",
    "water": "water",
}
PARTS = {"water": "water", "fat": "fat", "solids": "salt"}
"""parts of the cook-out, and the thing of style.COLOUR that it is drawn as"""
MARGIN_SHOWN, OUT_SHOWN, STEPS_SHOWN = (-2.0, 3.0), 30.0, 16.0
"""ends of the fixed axes; what lies beyond is drawn at the end with an arrowhead and said in figures"""
FILM_UM, FILM_G = (2.0, 80.0), (0.005, 10.0)
SIDE_UM, SIDE_PX, SMALLEST = 120.0, 300, 3


def signed(value: float, digits: int = 2) -> str:
    """A number with a true minus sign, and no minus before a nought."""
    text = f"{value:.{digits}f}"
    return "0" + text[2:] if text.startswith("-0.") and float(text) == 0 else text.replace("-", "−")


# margins and cook-out ------------------------------------------------------------------------------
def _names(field: str, room: int) -> alt.Y:
    """Names down the side in the order of the rows."""
    axis = alt.Axis(labelLimit=room, ticks=False, domain=False)
    return alt.Y(field, title=None, sort=None, axis=axis)


def margins_chart(system: str) -> dict:
    """One line per limit: the margin as a point, 10 to 90 % of the draws as a band, the edge at 0."""
    y = _names("limit:N", 140)

    def x(field):
        ticks = {"ticks": range(-2, 4), "format": "~g", "clamp": True}
        return across(field, "margin: 0 is the edge", *MARGIN_SHOWN, **ticks)

    words = {"align": "center", "dx": 0, "dy": -21, "text": "words:N"}
    point = {"colour": "colour:N", "size": 190, "stroke": "white", "strokeWidth": 2}
    chart = alt.layer(
        layer("past", "shade", x=x("from:Q"), x2="to:Q", color="#f6dedc"),
        layer("past", "limit", x=x("to:Q")),
        layer("margins", "band", y=y, x=x("low:Q"), x2="high:Q"),
        layer("margins", "dot", y=y, x=x("margin:Q"), **point),
        layer("margins", "words", halo=True, y=y, x=x("at:Q"), **words),
    )
    return finished(
        chart.properties(width=WIDTH - 95, height=alt.Step(58)),
        "How far from each edge",
        "grey: 10 to 90 % of the draws; red field: past the edge",
    )


def margins_data(answer) -> dict[str, list[dict]]:
    """Rows for `margins_chart` from an EmulsionAnswer."""
    low_end, high_end = MARGIN_SHOWN
    found = []
    for limit, margin in answer.held.margins.items():
        low, _, high = answer.spread.margins[limit].tolist()
        first = " (first)" if limit == answer.held.fails_first else ""
        row = {"limit": LIMIT_WORDS[limit], "margin": margin, "low": low, "high": high}
        row["colour"] = COLOUR["fails" if margin < 0 else "cold"]
        row["at"] = min(max(margin, low_end + 0.75), high_end - 0.75)
        row["words"] = f"{'✗ ' if margin < 0 else ''}{signed(margin)}{first}"
        found.append(row)
    return {"margins": found, "past": [{"from": low_end, "to": 0}]}


def cook_out_chart(system: str) -> dict:
    """Cook-out: all of it as one bar of its parts, then each part, with 10 to 90 % as a line."""
    y = _names("what:N", 110)

    def x(field):
        title, ticks = "% of the raw batter", range(0, 31, 5)
        return across(field, title, 0, OUT_SHOWN, ticks=ticks, clamp=True)

    words = {"x": x("at:Q"), "text": "words:N", "dx": 0, "dy": -23}
    bar = {"x": x("from:Q"), "x2": "to:Q", "stroke": "white", "strokeWidth": 1}
    span = {"x": x("low:Q"), "x2": "high:Q", "colour": "ink", "strokeWidth": 4}
    chart = alt.layer(
        layer("bars", "bar", y=y, colour="colour:N", **bar),
        layer("range", "rule", y=y, **span),
        layer("range", "words", y=y, **words),
    )
    return finished(
        chart.properties(width=WIDTH - 80, height=alt.Step(58)),
        "Cook-out",
        "black line: 10 to 90 % of the draws",
    )


def cook_out_data(answer) -> dict[str, list[dict]]:
    """Rows for `cook_out_chart` from an EmulsionAnswer."""
    grams, ranges = answer.cook_out_g, answer.cook_out_range_g
    whole, single, start = [], [], 0.0
    for part, thing in PARTS.items():
        end, colour = start + grams[part], COLOUR[thing]
        whole.append({"what": "all", "from": start, "to": end, "colour": colour})
        single.append({"what": part, "from": 0.0, "to": grams[part], "colour": colour})
        start = end
    ranges_drawn = []
    for what, (low, _, high) in ranges.items():
        words = f"{grams[what]:.1f}   ({low:.1f} to {high:.1f})"
        ranges_drawn.append({"what": what, "low": low, "high": high, "at": 0.0, "words": words})
    return {"bars": whole + single, "range": ranges_drawn}


# the film on the drops -----------------------------------------------------------------------------
def film_chart(system: str) -> dict:
    """Protein that would coat the drops against their size, and the protein in solution as a line."""
    sizes, grams = [2, 5, 10, 20, 40, 80], [0.01, 0.1, 1, 10]
    x = across("um:Q", "size of the fat drops, µm", *FILM_UM, kind="log", ticks=sizes)

    def y(field):
        title = "protein, g in 100 g batter"
        return up(field, title, *FILM_G, kind="log", ticks=grams, clamp=True)

    g = y("g:Q")
    words = {"x": x, "y": g, "text": "words:N", "align": "right"}
    chart = alt.layer(
        layer("asked", "area", x=x, y=g, y2="high:Q", colour="fat"),
        layer("asked", "line", x=x, y=y("mid:Q"), color="#8a6a00"),
        layer("have", "rule", y=g, colour="protein", strokeWidth=4),
        layer("have", "words", dx=-4, dy=-11, colour="protein", **words),
        layer("named", "words", dx=0, dy=20, color="#6b5200", **words),
        layer("here", "ring", x=x, y=g),
    )
    return finished(
        chart.properties(width=WIDTH - 40, height=SIDE_PX),
        "Protein asked, protein in solution",
        "yellow: thin to thick film; ring: this batter",
    )


def film_data(film) -> dict[str, list[dict]]:
    """Rows for `film_chart` from a panel's Film."""
    held, um, low = film.answer.held, np.geomspace(*FILM_UM, 41), FILM_G[0]
    per_um = held.film_protein_g * film.answer.batter.drop_um
    thin, mid, thick = (
        np.maximum(per_um / um * share, low) for share in (film.thinnest, 1.0, film.thickest)
    )
    have, here = held.dissolved_protein_g, held.film_protein_g
    asked = {"um": FILM_UM[1] * 0.97, "g": max(per_um / FILM_UM[1], low * 1.5)}
    words = f"in solution: {have:.2f} g" if have >= low else "in solution: none"
    return {
        "asked": columns(um=um, mid=mid, g=thin, high=thick) if here > 0 else [],
        "have": [{"um": FILM_UM[1], "g": max(have, low), "words": words}],
        "named": [{**asked, "words": "asked by the fat's surface"}] if here > 0 else [],
        "here": [{"um": film.answer.batter.drop_um, "g": min(max(here, low), FILM_G[1])}],
    }


def drops_chart(system: str) -> dict:
    """A square of batter with the free fat as drops, to scale. A drop with a film has a thick ring, a bare one a thin broken ring."""
    scale = alt.Scale(domain=[0, SIDE_UM], nice=False)
    at = {"x": alt.X("x:Q", scale=scale, axis=None), "y": alt.Y("y:Q", scale=scale, axis=None)}
    drop = {**at, "size": alt.Size("px2:Q", scale=None), "clip": True, "aria": False}
    thick = {"stroke": COLOUR["protein"], "strokeWidth": alt.StrokeWidth("ring:Q", scale=None)}
    thin = {"stroke": COLOUR["ink"], "strokeWidth": 1.5, "strokeDash": [3, 3]}
    coated = layer("drops", "dot", filled=False, **thick, **drop)
    bare = layer("drops", "dot", filled=False, **thin, **drop)
    chart = alt.layer(
        layer("gel", "shade", x2="x2:Q", y2="y2:Q", color="#f3e3e6", **at),
        layer("drops", "dot", colour="fat", **drop),
        coated.transform_filter("datum.film"),
        bare.transform_filter("!datum.film"),
    )
    return finished(
        chart.properties(width=SIDE_PX, height=SIDE_PX),
        "The same fat, as drops",
        [f"a square of {SIDE_UM:g} µm; dark ring: film, broken ring: bare"],
    )


def drops_data(film) -> dict[str, list[dict]]:
    """Drops on a grid, the same place for the same size, in a batter of 1 kg/L. The share of drops with a film is that of the covered surface."""
    batter, p = film.answer.batter, film.answer.held.parameters
    um = batter.drop_um
    share = (1 - p.intact_cell_share) * batter.fat_pct / 100 / p.fat_density_kg_per_L
    gel = [{"x": 0, "y": 0, "x2": SIDE_UM, "y2": SIDE_UM}]
    if share <= 0:
        return {"gel": gel, "drops": []}
    pitch = um * np.sqrt(np.pi / 4 / share)
    n = max(int(np.ceil(SIDE_UM / pitch)), 1)
    i, j = (a.ravel() for a in np.meshgrid(np.arange(n), np.arange(n), indexing="ij"))
    rng = np.random.default_rng(7)
    shake = 0.42 * max(pitch - um, 0) * (2 * rng.random((2, n * n)) - 1)
    x, y = (i + 0.5) * pitch + shake[0], (j + 0.5) * pitch + shake[1]
    coated = rng.permutation(n * n) < round(min(film.times, 1.0) * n * n)
    px = um * SIDE_PX / SIDE_UM
    size, ring = np.pi / 4 * px**2, min(max(0.14 * px, 1.2), 5)
    same = {"px2": np.full(n * n, size), "ring": np.full(n * n, ring)}
    return {"gel": gel, "drops": columns(x=x, y=y, **same, film=coated)}


# corrective actions, and measured beside modelled ---------------------------------------------------
def actions_chart(system: str) -> dict:
    """Each single change that restores the limit, by its size in unit steps."""
    x = across("steps:Q", "size of the change, in unit steps", 0, 20, clamp=True)
    layers = (
        ("changes", "bar", {"x": x, "colour": "colour:N", "height": 24}),
        ("changes", "quiet words", {"x": x, "text": "words:N"}),
    )
    title, subtitle = "Single changes that restore the limit", "dark: the three smallest"
    return named_list(title, subtitle, layers, labels=420, width=WIDTH + 20, row=36)


def actions_data(actions, names) -> dict[str, list[dict]]:
    """Rows for `actions_chart` from corrective actions, the smallest first, and their words."""
    changes = []
    for n, (action, name) in enumerate(zip(actions, names, strict=True)):
        row = {"place": numbered(n, name), "steps": min(action.steps, STEPS_SHOWN)}
        row["colour"] = COLOUR["meets" if n < SMALLEST else "band"]
        row["words"] = f"{action.steps:.1f} steps{beyond(action.steps, STEPS_SHOWN)}"
        changes.append(row)
    return {"changes": changes}


def beside_chart(title: str, subtitle: str, high: float) -> dict:
    """One line per measured row: what was measured as a ring, the model before as a square and after as a disc."""

    def x(field):
        return across(field, "lost, % of the raw batter", 0, high, clamp=True)

    square = {"shape": alt.value("square"), "size": 110, "colour": "unexplained"}
    ring = {"size": 300, "filled": False, "colour": "loss", "strokeWidth": 3.5}
    end = alt.XDatum(high, scale=alt.Scale(domain=[0, high], nice=False, clamp=True))
    far = {"x": end, "text": "far:N", "align": "right", "dx": -22}
    return named_list(
        title,
        subtitle,
        (
            (
                "rows",
                "rule",
                {"x": x("first:Q"), "x2": "second:Q", "colour": "band", "strokeWidth": 2},
            ),
            ("rows", "dot", {"x": x("first:Q"), **square}),
            ("rows", "dot", {"x": x("second:Q"), "size": 130, "colour": "cold"}),
            ("rows", "dot", {"x": x("measured:Q"), **ring}),
            ("rows", "quiet words", far),
        ),
        labels=230,
        width=WIDTH + 120,
        row=27,
        grid=True,
    )


def beside_data(labels, measured, first, second, high: float) -> dict[str, list[dict]]:
    """Rows for a `beside_chart`; what lies beyond its end is drawn at the end, with its figure."""
    found = []
    for n, (label, *values) in enumerate(zip(labels, measured, first, second, strict=True)):
        values = [float(value) for value in values]
        named = zip(("ring", "square", "disc"), values)
        far = ", ".join(f"{what} {value:.1f}" for what, value in named if value > high)
        row = dict(zip(("measured", "first", "second"), values))
        found.append({"place": numbered(n, label), **row, "far": far})
    return {"rows": found}
