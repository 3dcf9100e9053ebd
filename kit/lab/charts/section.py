"""A section through the batter, raw or heated: a schematic of the teaching model, not to scale.

What is drawn follows the model's answer: area of fat, film, fat run together, jelly. Where it is drawn is fixed once, so that a globule stays the same
globule while a slider moves; those that more or finer fat adds come at the end.
"""

from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import altair as alt
import numpy as np

from kit.emulsion.batter import Batter
from kit.emulsion.model import BatterState, denatured
from kit.emulsion.parameters import Parameters
from kit.lab.charts.marks import layer
from kit.lab.charts.style import COLOUR, WIDTH, finished
from kit.properties.components import component_density_kg_per_m3

TALL = 0.66
"""height of a section, its width being 1; all lengths below are of that width"""
POOL, CELLS, SEED = 340, 5, 11
USUAL_UM, USUAL_RADIUS, SHRUNK = 20.0, 0.038, 0.45
"""drawn radius at 20 µm, and the power of the diameter that it follows: sizes are pressed together so that 3 and 60 µm both can be seen"""
SPOTS = np.array([[0.17, 0.13], [0.87, 0.43], [0.56, 0.56], [0.13, 0.53]])
SPOT_SHARES = np.array([0.36, 0.28, 0.2, 0.16])
"""where jelly gathers, and how much of it in each place"""
SPOT_ROOM, CELL_ROOM = 0.055, 0.058
"""radius kept free of globules there, and round a fat cell"""
FIBRES_PER_G, DOTS_PER_G, MOST_DOTS = 2.0, 18.0, 60
FILL = {"raw": "#f7dfda", "heated": "#efc4ba"}
MELTED, BARE, CELL, JELLY = "#e08e0b", "#f4c542", "#fbe7ae", "#8fc3ea"
WAVE = "M-1,0C-0.83,-0.22,-0.67,-0.22,-0.5,0S-0.17,0.22,0,0S0.33,-0.22,0.5,0S0.83,0.22,1,0"
COIL = "M-0.5,0.1C-0.4,-0.5,-0.1,-0.5,-0.1,0S0.2,0.5,0.2,0S0.5,-0.5,0.55,0.1"
POCKET = "M-0.98,0.05C-0.9,-0.62,-0.35,-0.88,0.1,-0.8S0.98,-0.5,1,0S0.6,0.7,0.15,0.85S-0.95,0.65,-0.98,0.05Z"
POCKET_AREA = 2.62
"""area of that outline, whose half width is 1"""


@dataclass(frozen=True)
class Section:
    """What one section shows. Shares are of 0 to 1; areas are shares of the section."""

    fat_area: float
    globule_um: float
    in_cells: float
    """share of the fat that is still in its cells"""
    covered: float
    """share of the globules for which there is protein in solution for a film"""
    run_together: float
    """share of the fat, as much as the model lets leave"""
    run_together_raw: float
    """of that, what a final chopping temperature past its limit has run together before the cook"""
    jelly_area: float
    """water and salt released beyond what the limit of water allows"""
    collagen_g: float
    dissolved_g: float
    gel: float
    """how far the gel has set"""
    first: str


def section_of(batter: Batter, state: BatterState, parameters: Parameters) -> Section:
    """What a section through one batter shows.

    batter: one raw batter. state: what the model says of it (`work_out`, or a HeldBatter). parameters: of the model
    """
    b, p = batter, parameters
    density = {"water_pct": "water", "protein_pct": "protein", "salt_pct": "ash"}
    litres = {
        name: getattr(b, name) / (float(component_density_kg_per_m3(part, 20.0)) / 1000)
        for name, part in density.items()
    }
    fat = b.fat_pct / p.fat_density_kg_per_L
    rest = 100 - b.fat_pct - sum(getattr(b, name) for name in density)
    others = sum(litres.values()) + max(rest, 0.0) / (
        float(component_density_kg_per_m3("carbohydrate", 20.0)) / 1000
    )
    out = float(state.fat_out_g) / b.fat_pct if b.fat_pct else 0.0
    warm = sum(share for kind, share in b.fat_shares.items() if b.end_C > p.fats[kind].best_end_C)
    past = min(max(-float(state.temperature_margin), 0.0), 1.0) * bool(warm)
    allowed = p.water_edge_share * b.water_pct
    beyond = max(float(state.water_out_g) - allowed, 0.0) * (1 + p.solids_share)
    names = tuple(state.margins)
    return Section(
        fat_area=fat / (fat + others),
        globule_um=b.drop_um,
        in_cells=p.intact_cell_share,
        covered=float(min(np.exp(min(state.coverage_margin, 0.0)), 1.0))
        if state.dissolved_protein_g > 0
        else 0.0,
        run_together=out,
        run_together_raw=out * past,
        jelly_area=beyond / 100,
        collagen_g=b.protein_pct * b.collagen_pct_of_protein / 100,
        dissolved_g=float(state.dissolved_protein_g),
        gel=float(denatured(b, p)),
        first=names[int(state.weakest)],
    )


# where things lie, once and for all -------------------------------------------------------------------
@lru_cache(maxsize=1)
def _places() -> dict[str, np.ndarray]:
    """Cells, globules in the order in which they come, the line along which fat runs together, fibres, dots."""
    rng = np.random.default_rng(SEED)
    s = np.linspace(0, 1, 64)
    swing = 0.36 + 0.2 * np.sin(5.6 * s + 0.4) + 0.26 * (s - 0.5)
    line = np.column_stack([0.06 + 0.88 * s, TALL * swing])
    lumps = 2.4 * np.sin(24 * s + 1.2) + 1.1 * np.sin(11 * s + 0.3) + 0.8 * np.sin(47 * s)
    some = rng.uniform((0, 0), (1, TALL), (7000, 2))
    wall = np.minimum.reduce([some[:, 0], 1 - some[:, 0], some[:, 1], TALL - some[:, 1]])
    to_line = np.linalg.norm(some[:, None] - line[None], axis=2).min(axis=1)
    room = np.minimum(wall, np.linalg.norm(some[:, None] - SPOTS, axis=2).min(axis=1) - SPOT_ROOM)
    cells = _spread(some, np.minimum(room, to_line - 0.01) * 1.0, CELLS)
    away = np.linalg.norm(some[:, None] - cells, axis=2).min(axis=1) - CELL_ROOM
    globules = _spread(some, np.minimum(room, away), POOL)
    apart = np.linalg.norm(globules[:, None] - line[None], axis=2)
    nearest = apart.argmin(axis=1)
    return {
        "cells": cells,
        "globules": globules,
        "girth": 1 + 0.22 * np.sin(2.4 * np.arange(POOL) ** 1.1),
        "turn": (np.arange(POOL) * 0.61803398875 + 0.31) % 1,
        "drain": apart.min(axis=1) - 0.02 * lumps[nearest],
        "line": line,
        "lumps": lumps,
        "thick": 0.012 * np.sqrt(np.minimum(1, 8 * s * (1 - s))),
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


@lru_cache(maxsize=1)
def _channel() -> tuple[np.ndarray, np.ndarray]:
    """(level, area): how much fat lies along the line when it is filled up to a level."""
    at = _places()
    step = np.linalg.norm(np.diff(at["line"], axis=0), axis=1).mean()
    level = np.linspace(-at["lumps"].max(), 20, 400)
    return level, (np.maximum(level[:, None] + at["lumps"], 0) @ at["thick"]) * step


def globules(section: Section) -> tuple[np.ndarray, float]:
    """(radius of each globule there is, radius of each fat cell): together they have the area of the fat."""
    at, area = _places(), section.fat_area * TALL
    free = area * (1 - section.in_cells)
    radius = USUAL_RADIUS * (section.globule_um / USUAL_UM) ** SHRUNK
    girth = at["girth"] * max(radius, np.sqrt(free / (np.pi * 0.97 * np.sum(at["girth"] ** 2))))
    so_far = np.cumsum(np.pi * girth**2)
    count = int(np.searchsorted(so_far, free)) + 1
    radii = girth[:count].copy()
    radii[-1] = np.sqrt(max(free - (so_far[count - 2] if count > 1 else 0.0), 0.0) / np.pi)
    return radii, float(np.sqrt(area * section.in_cells / (np.pi * CELLS)))


def _drained(section: Section, radii: np.ndarray, cell: float, share: float):
    """Radii once a share of the fat has run together: what lies nearest to the line goes first, the last of it in part."""
    gone = share * section.fat_area * TALL
    order = np.argsort(_places()["drain"][: len(radii)])
    areas = np.pi * radii[order] ** 2
    left = np.clip(np.cumsum(areas) - gone, 0.0, areas)
    kept = np.empty_like(radii)
    kept[order] = np.sqrt(left / np.pi)
    rest = max(gone - areas.sum(), 0.0)
    return kept, np.sqrt(max(cell**2 - rest / (np.pi * CELLS), 0.0))


def drawn(
    section: Section, heated: bool = True, width: float = WIDTH, x: float = 0.0, y: float = 0.0
) -> dict[str, list[dict]]:
    """Rows of one section for `section_chart`, in pixels.

    heated: the cooked gel, else the raw batter. width: px. x, y: of its lower left corner. A row of `id` is one thing that keeps its place.
    """
    at, key = _places(), "heated" if heated else "raw"
    share = section.run_together if heated else section.run_together_raw
    radii, cell = globules(section)
    radii, cell = _drained(section, radii, cell, share)
    covered = at["turn"][: len(radii)] < section.covered

    def put(spot) -> dict[str, float]:
        return {"x": x + width * float(spot[0]), "y": y + width * float(spot[1])}

    fat = [
        {"id": f"g{n}", **put(at["globules"][n]), "size": (2 * width * float(r)) ** 2}
        | {
            "covered": bool(film),
            "fill": BARE,
            "edge": COLOUR["protein"] if film else "#cf9a12",
            "wide": 2.6 if film else 0.8,
        }
        for n, (r, film) in enumerate(zip(radii, covered))
        if r > 0
    ]
    cells = [
        {"id": f"c{n}", **put(spot), "size": (2 * width * cell) ** 2}
        | {"covered": True, "fill": CELL, "edge": COLOUR["quiet"], "wide": 1.6}
        for n, spot in enumerate(at["cells"])
        if cell > 0
    ]
    level = np.interp(share * section.fat_area * TALL, *_channel()[::-1])
    girth = np.maximum(level + at["lumps"], 0) * at["thick"] * width
    pool = np.cumsum(girth == 0)
    run = [
        {**put(spot), "wide": float(w), "of": f"{n} {x:g} {y:g}"}
        for spot, w, n in zip(at["line"], girth, pool)
        if w > 0
    ]
    jelly = section.jelly_area * TALL * SPOT_SHARES * heated
    fibres = np.clip(FIBRES_PER_G * section.collagen_g - np.arange(len(at["fibres"])), 0, 1)
    reach = width * (0.1 if heated else 0.16)
    dots = 0 if heated else min(round(DOTS_PER_G * section.dissolved_g), MOST_DOTS)
    return {
        "frame": [
            {
                "x": x,
                "to": x + width,
                "y": y,
                "top": y + TALL * width,
                "fill": FILL[key],
            }
        ],
        "gel": [
            {"x": x + width / 2, "y": y + TALL * width / 2, "size": 4 * width**2}
            | {"strength": 0.5 * section.gel}
        ]
        if heated
        else [],
        "dots": [put(spot) for spot in at["dots"][:dots]],
        "wave" if not heated else "coil": [
            {"id": f"f{n}", **put(at["fibres"][n]), "size": reach**2 * float(part)}
            | {"tilt": float(at["tilt"][n])}
            for n, part in enumerate(fibres)
            if part > 0
        ],
        "jelly": [
            {"id": f"j{n}", **put(spot), "size": float(area / POCKET_AREA * 4) * width**2}
            for n, (spot, area) in enumerate(zip(SPOTS, jelly))
            if area > 0
        ],
        "fat": [*cells, *fat],
        "run": run if share > 0 else [],
    }


def legend(
    section: Section, heated: bool, width: float = WIDTH, x0: float = 0.0
) -> dict[str, list[dict]]:
    """Rows that name what is drawn, with how much of it: to stand under one section, from y 0 to LEGEND."""
    films, count = films_of(section)
    share = section.run_together if heated else section.run_together_raw
    film = {"fill": BARE, "edge": COLOUR["protein"], "wide": 2.6}
    bare, cell = (
        film | {"edge": "#cf9a12", "wide": 0.8},
        film | {"fill": CELL, "edge": COLOUR["quiet"], "wide": 1.6},
    )
    spots = [(x, y) for y in (64, 40, 16) for x in (x0 + 12, x0 + width / 2 + 12)]
    names = (
        f"protein film: {films}",
        f"without film: {count - films}",
        "intact fat cell",
        f"fat run together: {100 * share:.0f} %",
        "collagen, shrunk" if heated else "collagen fibre",
        f"jelly pocket: {100 * section.jelly_area * heated:.0f} %"
        if heated
        else "protein in solution",
    )
    at = [{"x": x, "y": y, "size": 260} for x, y in spots]
    run = [
        {"x": at[3]["x"] + dx, "y": at[3]["y"], "wide": 9, "of": f"key {x0:g}"} for dx in (-7, 7)
    ]
    dots = [{"x": at[5]["x"] + dx, "y": at[5]["y"] + dy} for dx, dy in ((-5, 2), (0, -4), (5, 3))]
    last = {"jelly": [at[5]]} if heated else {"dots": dots}
    return {
        "fat": [{**at[n], **look} for n, look in enumerate((film, bare, cell))],
        "run": run,
        "coil" if heated else "wave": [at[4] | {"tilt": 0, "size": 500}],
        "quiet": [{"x": x + 16, "y": y, "words": name} for (x, y), name in zip(spots, names)],
        **last,
    }


def films_of(section: Section) -> tuple[int, int]:
    """Globules that wear a film, and all there are before the cook."""
    count = len(globules(section)[0])
    return int((_places()["turn"][:count] < section.covered).sum()), count


LEGEND = 84
"""height of the legend, px"""


def one_section_chart(system: str) -> dict:
    """The heated gel of one batter over its legend."""
    return section_chart(
        "The heated gel in section",
        "schematic of the teaching model, not to scale",
        WIDTH,
        TALL * WIDTH + LEGEND,
    )


def one_section_data(section: Section) -> dict[str, list[dict]]:
    """Rows for `one_section_chart`."""
    return together(drawn(section, True, WIDTH, 0.0, LEGEND), legend(section, True))


def section_text(section: Section, first: str, heated: bool = True) -> str:
    """The picture in words. first: the name of the limit that is nearest, or furthest past, its edge."""
    films, count = films_of(section)
    share = section.run_together if heated else section.run_together_raw
    what = "heated gel" if heated else "raw batter"
    said = (
        f"Schematic of the teaching model, not to scale: a section through the {what}. Fat takes {100 * section.fat_area:.0f} % of the area, "
        f"in {CELLS} intact fat cells and {count} globules drawn for {section.globule_um:g} µm; {films} of them have a protein film. "
        f"{100 * share:.0f} % of the fat has run together."
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


def section_chart(
    title: str, subtitle: str | list[str], width: float = WIDTH, height: float = TALL * WIDTH
) -> dict:
    """One plane of pixels for any number of sections beside each other, with their words."""

    def side(make: Any, field: str, long: float):
        scale = alt.Scale(domain=[0, long], nice=False, zero=False)
        return make(field, title=None, axis=None, scale=scale)

    at = {"x": side(alt.X, "x:Q", width), "y": side(alt.Y, "y:Q", height), "aria": False}
    size = alt.Size("size:Q", scale=None, legend=None)
    sized = {"size": size, "opacity": 1, **at}
    tilt = alt.Angle("tilt:Q", scale=alt.Scale(domain=[0, 360], range=[0, 360]))
    line = {"filled": False, "stroke": COLOUR["carbohydrate"], "strokeWidth": 3}
    edge = alt.Stroke("edge:N", scale=None)
    wide = alt.StrokeWidth("wide:Q", scale=None)
    fill = alt.Fill("fill:N", scale=None)
    words = {"text": "words:N", "dx": 0, "baseline": "middle"}
    network = {"shape": alt.value(_network()), "filled": False, "stroke": COLOUR["protein"]}
    base = alt.layer(
        layer("frame", "shade", x2="to:Q", y2="top:Q", **at).encode(fill=fill),
        layer("gel", "dot", **network, strokeWidth=1, size=size, **at).encode(
            opacity=alt.Opacity("strength:Q", scale=None)
        ),
        layer("dots", "dot", size=9, colour="protein", **at | {"opacity": 0.7}),
        layer("wave", "dot", shape=alt.value(WAVE), **line, **sized).encode(angle=tilt),
        layer("coil", "dot", shape=alt.value(COIL), **line, **sized).encode(angle=tilt),
        layer(
            "jelly", "dot", shape=alt.value(POCKET), color=JELLY, stroke=COLOUR["water"], **sized
        ),
        layer("fat", "dot", **sized).encode(fill=fill, stroke=edge, strokeWidth=wide),
        alt.Chart(alt.NamedData(name="run"))
        .mark_trail(color=MELTED, aria=False)
        .encode(
            x=at["x"],
            y=at["y"],
            size=alt.Size("wide:Q", scale=None, legend=None),
            detail="of:N",
        ),
        layer("words", "words", **words, **at),
        layer("quiet", "quiet words", **words, **at),
    )
    return finished(base.properties(width=width, height=height), title, subtitle)


def together(*parts: dict[str, list[dict]]) -> dict[str, list[dict]]:
    """Several sections, legends and words in one set of rows."""
    names = ("frame", "gel", "dots", "wave", "coil", "jelly", "fat", "run", "words", "quiet")
    return {name: [row for part in parts for row in part.get(name, ())] for name in names}
