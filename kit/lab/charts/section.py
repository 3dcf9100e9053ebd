"""A section through the batter, raw or heated: a schematic of the teaching model, not to scale.

Areas and counts follow the model's answer. Places are drawn once, so that a globule stays the same while a slider moves; new ones come at the end.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit.emulsion.batter import Batter
from kit.emulsion.model import LIMITS, BatterState, denatured
from kit.emulsion.parameters import Parameters
from kit.lab.charts import alt
from kit.lab.charts.style import COLOUR, LABEL, WIDTH, finished
from kit.properties.components import component_density_kg_per_m3

TALL, LEGEND = 0.66, 84
"""height of a section, its width being 1 (all lengths below are of that width), and of a legend, px"""
LEAST_PX = 215
"""width below which sections do not stand beside each other"""
POOL, CELLS, SEED = 340, 5, 11
USUAL_UM, USUAL_RADIUS, POWER = 20.0, 0.038, 0.45
"""radius drawn for 20 µm, and the power of the diameter that it follows, so that 3 and 60 µm both can be seen"""
SPOTS = np.array([[0.17, 0.13], [0.87, 0.43], [0.56, 0.56], [0.13, 0.53]])
SPOT_SHARES = np.array([0.36, 0.28, 0.2, 0.16])
"""where jelly gathers, and how much of it in each place"""
SPOT_ROOM, CELL_ROOM = 0.055, 0.058
"""radius kept free of globules there, and round a fat cell"""
FIBRES_PER_G, DOTS_PER_G, MOST_DOTS = 2.0, 18.0, 60
RAW, HEATED, MELTED = "#f7dfda", "#efc4ba", "#e08e0b"
WAVE = "M-1,0C-0.83,-0.22,-0.67,-0.22,-0.5,0S-0.17,0.22,0,0S0.33,-0.22,0.5,0S0.83,0.22,1,0"
COIL = "M-0.5,0.1C-0.4,-0.5,-0.1,-0.5,-0.1,0S0.2,0.5,0.2,0S0.5,-0.5,0.55,0.1"
POCKET = "M-0.98,0.05C-0.9,-0.62,-0.35,-0.88,0.1,-0.8S0.98,-0.5,1,0S0.6,0.7,0.15,0.85S-0.95,0.65,-0.98,0.05Z"
POCKET_AREA = 2.62
"""area of that outline, whose half width is 1"""
LOOKS = {
    "fibre": (WAVE, "transparent", COLOUR["carbohydrate"], 3.0),
    "shrunk fibre": (COIL, "transparent", COLOUR["carbohydrate"], 3.0),
    "dissolved": ("circle", COLOUR["protein"], "transparent", 0.0),
    "jelly": (POCKET, "#8fc3ea", COLOUR["water"], 1.5),
    "cell": ("circle", "#fbe7ae", COLOUR["quiet"], 1.6),
    "film": ("circle", COLOUR["fat"], COLOUR["protein"], 2.6),
    "bare": ("circle", COLOUR["fat"], "#cf9a12", 0.8),
}
"""what is drawn as a mark: shape, fill, edge, width of the edge"""


@dataclass(frozen=True)
class BatterSection:
    """What one section shows. Shares are of 0 to 1; areas are shares of the section; grams are of 100 g."""

    fat_area: float
    globule_um: float
    in_cells: float
    """share of the fat that is still in its cells"""
    covered: float
    """share of the globules for which there is protein in solution for a film"""
    run_together: float
    """share of the fat: what the model releases as cook-out in the cook"""
    run_together_raw: float
    """as much of it as a final chopping temperature past its limit has run together before the cook"""
    jelly_area: float
    """water and solids released beyond what the limit of water allows"""
    collagen_g: float
    dissolved_g: float
    gel: float
    """how far the gel has set"""
    first: str


def section_of(batter: Batter, state: BatterState, parameters: Parameters) -> BatterSection:
    """What a section through one batter shows.

    batter: one raw batter. state: what the model says of it (`work_out`, or a HeldBatter). parameters: of the model
    """
    b, p = batter, parameters
    rest = {"water": b.water_pct, "protein": b.protein_pct, "ash": b.salt_pct}
    rest["carbohydrate"] = max(100 - b.fat_pct - sum(rest.values()), 0.0)
    fat = b.fat_pct / p.fat_density_kg_per_L
    others = sum(
        1000 * g / float(component_density_kg_per_m3(part, 20.0)) for part, g in rest.items()
    )
    out = float(state.fat_out_g) / b.fat_pct if b.fat_pct else 0.0
    warm = any(b.end_C > p.fats[kind].best_end_C for kind in b.fat_shares)
    past = min(max(-float(state.temperature_margin), 0.0), 1.0) * warm
    beyond = max(float(state.water_out_g) - p.water_edge_share * b.water_pct, 0.0)
    enough = np.exp(min(float(state.coverage_margin), 0.0)) * (state.dissolved_protein_g > 0)
    return BatterSection(
        fat_area=fat / (fat + others),
        globule_um=b.drop_um,
        in_cells=p.intact_cell_share,
        covered=float(enough),
        run_together=out,
        run_together_raw=out * past,
        jelly_area=beyond * (1 + p.solids_share) / 100,
        collagen_g=b.protein_pct * b.collagen_pct_of_protein / 100,
        dissolved_g=float(state.dissolved_protein_g),
        gel=float(denatured(b, p)),
        first=LIMITS[int(state.weakest)],
    )


# where things lie, once and for all -------------------------------------------------------------------
@lru_cache(maxsize=1)
def _places() -> dict[str, np.ndarray]:
    """Cells, globules in the order in which they come, fibres, dots; the line along which fat merges, and the area that lies there at each level of filling."""
    rng = np.random.default_rng(SEED)
    s = np.linspace(0, 1, 64)
    swing = 0.36 + 0.2 * np.sin(5.6 * s + 0.4) + 0.26 * (s - 0.5)
    line = np.column_stack([0.06 + 0.88 * s, TALL * swing])
    lumps = 2.4 * np.sin(24 * s + 1.2) + 1.1 * np.sin(11 * s + 0.3) + 0.8 * np.sin(47 * s)
    some = rng.uniform((0, 0), (1, TALL), (7000, 2))
    wall = np.minimum.reduce([some[:, 0], 1 - some[:, 0], some[:, 1], TALL - some[:, 1]])
    to_line = np.linalg.norm(some[:, None] - line[None], axis=2).min(axis=1)
    room = np.minimum(wall, np.linalg.norm(some[:, None] - SPOTS, axis=2).min(axis=1) - SPOT_ROOM)
    cells = _spread(some, np.minimum(room, to_line - 0.01), CELLS)
    away = np.linalg.norm(some[:, None] - cells, axis=2).min(axis=1) - CELL_ROOM
    globules = _spread(some, np.minimum(room, away), POOL)
    apart = np.linalg.norm(globules[:, None] - line[None], axis=2)
    thick = 0.012 * np.sqrt(np.minimum(1, 8 * s * (1 - s)))
    level = np.linspace(-lumps.max(), 20, 400)
    step = np.linalg.norm(np.diff(line, axis=0), axis=1).mean()
    return {
        "cells": cells,
        "globules": globules,
        "girth": 1 + 0.22 * np.sin(2.4 * np.arange(POOL) ** 1.1),
        "turn": (np.arange(POOL) * (5**0.5 - 1) / 2 + 0.31) % 1,
        "drain": apart.min(axis=1) - 0.02 * lumps[apart.argmin(axis=1)],
        "line": line,
        "lumps": lumps,
        "thick": thick,
        "level": level,
        "filled": np.maximum(level[:, None] + lumps, 0) @ thick * step,
        "fibres": np.vstack([SPOTS, _spread(some, wall - 0.06, 14)]),
        "tilt": rng.uniform(-40, 40, 18),
        "dots": some[rng.permutation(len(some))[:MOST_DOTS]],
    }


def _spread(some: np.ndarray, room: np.ndarray, count: int) -> np.ndarray:
    """Points one after the other, each where the most room is left: any first part of them lies evenly."""
    room, picked = room.copy(), []
    for _ in range(count):
        best = int(room.argmax())
        picked.append(some[best])
        room = np.minimum(room, np.linalg.norm(some - some[best], axis=1) / 2)
    return np.array(picked)


def globules(section: BatterSection) -> tuple[np.ndarray, float]:
    """(radius of each globule there is, radius of each fat cell): together they have the area of the fat."""
    at, area = _places(), section.fat_area * TALL
    free = area * (1 - section.in_cells)
    radius = USUAL_RADIUS * (section.globule_um / USUAL_UM) ** POWER
    girth = at["girth"] * max(radius, np.sqrt(free / (np.pi * 0.97 * np.sum(at["girth"] ** 2))))
    so_far = np.cumsum(np.pi * girth**2)
    count = int(np.searchsorted(so_far, free)) + 1
    radii = girth[:count].copy()
    radii[-1] = np.sqrt(max(free - (so_far[count - 2] if count > 1 else 0.0), 0.0) / np.pi)
    return radii, float(np.sqrt(area * section.in_cells / (np.pi * CELLS)))


def _drained(section: BatterSection, radii: np.ndarray, cell: float, share: float):
    """Radii once a share of the fat has run together: what lies nearest to the line goes first, the last of it in part."""
    gone = share * section.fat_area * TALL
    order = np.argsort(_places()["drain"][: len(radii)])
    areas = np.pi * radii[order] ** 2
    left = np.clip(np.cumsum(areas) - gone, 0.0, areas)
    kept = np.empty_like(radii)
    kept[order] = np.sqrt(left / np.pi)
    rest = max(gone - areas.sum(), 0.0)
    return kept, np.sqrt(max(cell**2 - rest / (np.pi * CELLS), 0.0))


def section_data(section: BatterSection, heated: bool = True) -> dict[str, list[dict]]:
    """Rows for `section_chart`, in pixels: one section over its legend. What has an `id` keeps its place.

    heated: the cooked gel, else the raw batter.
    """
    at, share = _places(), section.run_together if heated else section.run_together_raw
    radii, cell = _drained(section, *globules(section), share)
    covered = at["turn"][: len(radii)] < section.covered

    def put(name: str, spots: np.ndarray, half_widths, look, tilts=None) -> list[dict]:
        looks = [look] * len(spots) if isinstance(look, str) else look
        tilts = [0.0] * len(spots) if tilts is None else tilts.tolist()
        return [
            {"id": f"{name}{n}", "x": WIDTH * a, "y": LEGEND + WIDTH * b, "tilt": tilt}
            | {"size": (2 * WIDTH * r) ** 2, "look": look}
            for n, ((a, b), r, look, tilt) in enumerate(
                zip(spots.tolist(), half_widths, looks, tilts)
            )
            if r > 0
        ]

    fibres = np.clip(FIBRES_PER_G * section.collagen_g - np.arange(len(at["fibres"])), 0, 1)
    reach = (0.05 if heated else 0.08) * np.sqrt(fibres)
    jelly = np.sqrt(section.jelly_area * heated * TALL * SPOT_SHARES / POCKET_AREA)
    dots = at["dots"][: 0 if heated else round(DOTS_PER_G * section.dissolved_g)]
    level = np.interp(share * section.fat_area * TALL, at["filled"], at["level"])
    girth = np.maximum(level + at["lumps"], 0) * at["thick"] * WIDTH * (share > 0)
    pools = np.cumsum(girth == 0).tolist()
    middle = {"x": WIDTH / 2, "y": LEGEND + TALL * WIDTH / 2}
    frame = {"x": 0, "to": WIDTH, "y": LEGEND, "top": LEGEND + TALL * WIDTH}
    key = _legend(section, heated)
    return {
        "frame": [frame | {"fill": HEATED if heated else RAW}],
        "gel": [middle | {"size": 4 * WIDTH**2, "strength": 0.5 * section.gel * heated}],
        "things": [
            *put("f", at["fibres"], reach, f"{'shrunk ' * heated}fibre", at["tilt"]),
            *put("p", dots, [1.5 / WIDTH] * len(dots), "dissolved"),
            *put("j", SPOTS, jelly.tolist(), "jelly"),
            *put("c", at["cells"], [cell] * CELLS, "cell"),
            *put(
                "g",
                at["globules"][: len(radii)],
                radii.tolist(),
                ["film" if film else "bare" for film in covered],
            ),
            *key["things"],
        ],
        "run": [
            *(
                {"x": WIDTH * a, "y": LEGEND + WIDTH * b, "wide": w, "of": f"{n}"}
                for (a, b), w, n in zip(at["line"].tolist(), girth.tolist(), pools)
                if w > 0
            ),
            *key["run"],
        ],
        "quiet": key["quiet"],
    }


def _legend(section: BatterSection, heated: bool) -> dict[str, list[dict]]:
    """Rows that name what is drawn, with how much of it: under the section, from y 0 to LEGEND."""
    films, count = films_of(section)
    share = section.run_together if heated else section.run_together_raw
    names = (
        ("film", f"protein film: {films}"),
        ("bare", f"without film: {count - films}"),
        ("cell", "intact fat cell"),
        ("run", f"merged fat: {100 * share:.0f} %"),
        ("shrunk fibre", "collagen, shrunk") if heated else ("fibre", "collagen fibre"),
        ("jelly", f"jelly pocket: {100 * section.jelly_area:.0f} %")
        if heated
        else ("dissolved", "protein in solution"),
    )
    spots = [(12 + side, y) for y in (64, 40, 16) for side in (0, WIDTH / 2)]
    size = {"film": 260, "bare": 260, "cell": 260, "jelly": 260, "dissolved": 25}
    things = [
        {"x": a, "y": y, "tilt": 0, "size": size.get(look, 500), "look": look}
        for (a, y), (look, _) in zip(spots, names)
        if look in LOOKS
    ]
    run = [{"x": spots[3][0] + dx, "y": 40, "wide": 9, "of": "key"} for dx in (-7, 7)]
    words = [{"x": a + 16, "y": y, "words": name} for (a, y), (_, name) in zip(spots, names)]
    return {"things": things, "run": run, "quiet": words}


def films_of(section: BatterSection) -> tuple[int, int]:
    """Globules that wear a film, and all there are before the cook."""
    count = len(globules(section)[0])
    return int((_places()["turn"][:count] < section.covered).sum()), count


def section_text(section: BatterSection, first: str, heated: bool = True) -> str:
    """The picture in words. first: the name of the limit that is nearest, or furthest past, its edge."""
    films, count = films_of(section)
    share = section.run_together if heated else section.run_together_raw
    what = "heated gel" if heated else "raw batter"
    said = (
        f"Schematic of the teaching model, not to scale: a section through the {what}. Fat takes {100 * section.fat_area:.0f} % of the area, "
        f"in {CELLS} intact fat cells and {count} globules drawn for {section.globule_um:g} µm; {films} of them have a protein film. "
        f"{100 * share:.0f} % of the fat has merged."
    )
    if heated:
        jelly = f"Jelly pockets take {100 * section.jelly_area:.1f} % of the area."
        said += f" {jelly if section.jelly_area else 'There is no jelly pocket.'}"
    return f"{said} Collagen: {section.collagen_g:.1f} g of 100 g. First limit: {first}."


def _network() -> str:
    """The set gel as strands, an outline in a box of width 1 (vega's own y runs down)."""
    rng = np.random.default_rng(SEED)
    parts = []
    for spot in rng.uniform((-0.5, -TALL / 2), (0.5, TALL / 2), (110, 2)):
        a, b = spot + rng.uniform(-0.04, 0.04, (2, 2))
        c = spot + rng.uniform(-0.06, 0.06, 2)
        points = np.clip([a, c, b], (-0.495, -TALL / 2 + 0.005), (0.495, TALL / 2 - 0.005))
        (ax, ay), (cx, cy), (bx, by) = points.round(3)
        parts.append(f"M{ax},{ay}Q{cx},{cy},{bx},{by}")
    return "".join(parts)


SCHEMATIC = "schematic of the teaching model, not to scale"


@alt.kept
def section_chart(system: str) -> dict:
    """One section over its legend on a plane of pixels. All of it grows and shrinks as one, in its `shape`, where the page gives it another size; words stay legible."""
    width, height = WIDTH, TALL * WIDTH + LEGEND
    fit = f"min((width || {width}) / {width}, (height || {height}) / {height})"  # in a picture of several charts both are 0

    def at(long: str) -> dict:
        return {"expr": f"{fit} * {long}"}

    place = {"x": at("datum.x"), "y": at(f"({height} - datum.y)"), "aria": False}
    box = {"x2": at("datum.to"), "y2": at(f"({height} - datum.top)")}
    size = {"size": {"expr": f"pow({fit}, 2) * datum.size"}, "filled": True, "opacity": 1, **place}
    words = {
        "fontSize": {"expr": f"max(11, {fit} * {LABEL})"},
        "baseline": "middle",
        "align": "left",
        **place,
    }

    def looks(channel, n: int):
        reach = [look[n] for look in LOOKS.values()]
        scale = alt.Scale(type="ordinal", domain=list(LOOKS), range=reach)
        return channel("look:N", scale=scale, legend=None)

    edges = {"stroke": looks(alt.Stroke, 2), "strokeWidth": looks(alt.StrokeWidth, 3)}
    inside = {"fill": looks(alt.Fill, 1), "shape": looks(alt.Shape, 0)}
    net = {"stroke": COLOUR["protein"], "strokeWidth": 1, "fill": "transparent"}
    merged = alt.chart("run", "trail", color=MELTED, size=at("datum.wide"), **place)
    whole = alt.layer(
        alt.chart("frame", "rect", **place, **box).encode(fill=alt.Fill("fill:N", scale=None)),
        alt.chart("gel", "point", shape=_network(), **size, **net).encode(
            opacity=alt.Opacity("strength:Q", scale=None, legend=None)
        ),
        alt.chart("things", "point", angle={"expr": "datum.tilt"}, **size).encode(
            **inside, **edges
        ),
        merged.encode(detail="of:N"),
        alt.chart("quiet", "text", **words).encode(text="words:N"),
    )
    drawn = finished(
        whole.properties(width=width, height=height), "The heated gel in section", SCHEMATIC
    )
    return drawn | {"usermeta": {"shape": height / width, "least": LEAST_PX}}


def titled(title: str, subtitle: str, system: str) -> dict:
    """The same chart under a title of its own."""
    return section_chart(system) | {"title": {"text": title, "subtitle": subtitle}}
