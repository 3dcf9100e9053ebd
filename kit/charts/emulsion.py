"""Margins and what leaves, the film on the fat drops, the break map, remedies, and the model beside what was measured."""
import altair as alt
import numpy as np

from kit import units
from kit.charts.style import COLOUR, LABEL, LIMIT_DASH, WIDTH, finished, rows
from kit.emulsion import BreakMap


def columns(**arrays) -> list[dict]:
    """Rows from arrays of one length."""
    listed = [a.tolist() for a in arrays.values()]
    return [dict(zip(arrays, row)) for row in zip(*listed)]

LIMIT_WORDS = {"coverage": "film on the drops", "temperature": "temperature", "fat load": "fat load", "water": "water"}
PARTS = ("water", "fat", "solids")
MARGIN_SHOWN, LEAVES_SHOWN = (-2.0, 3.0), 30.0
"""edges of the fixed axes; what lies beyond is drawn at the edge and said in figures"""


def signed(value: float, digits: int = 2) -> str:
    text = f"{value:.{digits}f}"
    return "0" + text[2:] if text.startswith("-0.") and float(text) == 0 else text.replace("-", "−")


# margins, and what leaves

def margins_chart(system: str) -> dict:
    """One line per limit: the margin as a point, 10 to 90 % of the draws as a band, the edge at 0."""
    y = alt.Y("limit:N", title=None, sort=None, axis=alt.Axis(labelLimit=140, ticks=False, domain=False))
    scale = alt.Scale(domain=list(MARGIN_SHOWN), nice=False)
    x = alt.X("margin:Q", title="margin: 0 is the edge", scale=scale, axis=alt.Axis(values=[-2, -1, 0, 1, 2, 3], format="~g"))
    past = alt.Chart(rows("past")).mark_rect(color="#f6dedc").encode(x=alt.X("from:Q", scale=scale, title="margin: 0 is the edge"), x2="to:Q")
    edge = alt.Chart(rows("past")).mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=3, color=COLOUR["limit"]).encode(x=alt.X("to:Q", scale=scale, title="margin: 0 is the edge"))
    band = alt.Chart(rows("margins")).mark_rule(strokeWidth=16, color=COLOUR["band"]).encode(y=y, x=alt.X("low:Q", scale=scale, title="margin: 0 is the edge"), x2="high:Q")
    state = alt.Color("state:N", scale=alt.Scale(domain=["above", "below"], range=[COLOUR["cold"], COLOUR["fails"]]), legend=None)
    point = alt.Chart(rows("margins")).mark_point(size=190, filled=True, opacity=1, stroke="white", strokeWidth=2).encode(y=y, x=x, color=state)
    at = {"y": y, "x": alt.X("at:Q", scale=scale, title="margin: 0 is the edge"), "text": "words:N"}
    halo = alt.Chart(rows("margins")).mark_text(fontSize=LABEL, fontWeight=600, dy=-21, stroke="white", strokeWidth=5, strokeJoin="round").encode(**at)
    words = alt.Chart(rows("margins")).mark_text(fontSize=LABEL, fontWeight=600, dy=-21).encode(**at)
    return finished((past + edge + band + point + halo + words).properties(width=WIDTH - 95, height=alt.Step(58)), "How far from each edge",
                    "grey: 10 to 90 % of the draws; red field: past the edge")


def margins_data(holds) -> dict[str, list[dict]]:
    """Rows for `margins_chart` from a Holds."""
    low_end, high_end = MARGIN_SHOWN
    found = []
    for limit, margin in holds.held.margins.items():
        low, _, high = np.clip(holds.spread.margins[limit], low_end, high_end).tolist()
        first = " (first)" if limit == holds.fails_first else ""
        shown = min(max(margin, low_end), high_end)
        found.append({"limit": LIMIT_WORDS[limit], "margin": shown, "low": low, "high": high, "state": "above" if margin >= 0 else "below",
                      "at": min(max(shown, low_end + 0.75), high_end - 0.75), "words": f"{'✗ ' if margin < 0 else ''}{signed(margin)}{first}"})
    return {"margins": found, "past": [{"from": low_end, "to": 0}]}


def margins_text(holds) -> str:
    return "Margin of each limit, 0 at the edge. " + " ".join(
        f"{LIMIT_WORDS[limit]} {margin:.2f}, in 80 of 100 draws between {holds.spread.margins[limit][0]:.2f} and {holds.spread.margins[limit][2]:.2f}."
        for limit, margin in holds.held.margins.items())


def leaves_chart(system: str) -> dict:
    """What leaves in the cook: all of it as one bar made of its parts, then each part, with the 10 to 90 % of the draws as a line."""
    y = alt.Y("what:N", title=None, sort=None, axis=alt.Axis(labelLimit=110, ticks=False, domain=False))
    scale, title = alt.Scale(domain=[0, LEAVES_SHOWN], nice=False, clamp=True), "% of the raw batter"
    bar = alt.Chart(rows("bars")).mark_bar(height=26, stroke="white", strokeWidth=1).encode(
        y=y, x=alt.X("from:Q", scale=scale, title=title, axis=alt.Axis(values=[0, 5, 10, 15, 20, 25, 30])), x2="to:Q",
        color=alt.Color("part:N", scale=alt.Scale(domain=list(PARTS), range=[COLOUR["water"], COLOUR["fat"], COLOUR["salt"]]), legend=None))
    doubt = alt.Chart(rows("doubt")).mark_rule(strokeWidth=4, color=COLOUR["ink"]).encode(y=y, x=alt.X("low:Q", scale=scale, title=title), x2="high:Q")
    words = alt.Chart(rows("doubt")).mark_text(fontSize=LABEL, fontWeight=600, dy=-23, align="left").encode(y=y, x=alt.X("at:Q", scale=scale, title=title), text="words:N")
    return finished((bar + doubt + words).properties(width=WIDTH - 80, height=alt.Step(58)), "What leaves in the cook", "black line: 10 to 90 % of the draws")


def leaves_data(holds) -> dict[str, list[dict]]:
    held, spread = holds.held, holds.spread
    parts = {"water": held.water_out_g, "fat": held.fat_out_g, "solids": held.solids_out_g}
    bars, start = [], 0.0
    for part, grams in parts.items():
        bars.append({"what": "all", "part": part, "from": start, "to": start + grams})
        start += grams
    bars += [{"what": part, "part": part, "from": 0.0, "to": grams} for part, grams in parts.items()]
    doubt = [{"what": what, "low": low, "high": min(high, LEAVES_SHOWN), "at": 0.0, "words": f"{grams:.1f}   ({low:.1f} to {high:.1f})"}
             for what, grams, (low, _, high) in (("all", held.total_out_g, spread.total_out_g.tolist()), ("water", held.water_out_g, spread.water_out_g.tolist()),
                                                 ("fat", held.fat_out_g, spread.fat_out_g.tolist()), ("solids", held.solids_out_g, spread.solids_out_g.tolist()))]
    return {"bars": bars, "doubt": doubt}


def leaves_text(holds) -> str:
    held, (low, _, high) = holds.held, holds.spread.total_out_g
    return (f"Bars of what leaves, % of the raw batter: all {held.total_out_g:.1f}, in 80 of 100 draws {low:.1f} to {high:.1f}; water {held.water_out_g:.1f}, "
            f"fat {held.fat_out_g:.1f}, solids {held.solids_out_g:.1f}.")


# the film

FILM_UM, FILM_G = (2.0, 80.0), (0.005, 10.0)
SIDE_UM, SIDE_PX = 120.0, 300


def film_chart(system: str) -> dict:
    """Protein that would coat the drops against their size, with the doubt about the film's thickness; the protein in solution as a line."""
    x = alt.X("um:Q", title="size of the fat drops, µm", scale=alt.Scale(type="log", domain=list(FILM_UM), nice=False), axis=alt.Axis(values=[2, 5, 10, 20, 40, 80], grid=True))
    how = {"title": "protein, g in 100 g batter", "scale": alt.Scale(type="log", domain=list(FILM_G), nice=False, clamp=True),
           "axis": alt.Axis(values=[0.01, 0.1, 1, 10])}
    y = alt.Y("g:Q", **how)
    band = alt.Chart(rows("asked")).mark_area(color=COLOUR["fat"], opacity=0.45, clip=True).encode(x=x, y=y, y2="high:Q")
    line = alt.Chart(rows("asked")).mark_line(color="#8a6a00", strokeWidth=4, clip=True).encode(x=x, y=alt.Y("mid:Q", **how))
    have = alt.Chart(rows("have")).mark_rule(color=COLOUR["protein"], strokeWidth=4).encode(y=y)
    words = alt.Chart(rows("have")).mark_text(align="right", dy=-11, dx=-4, fontSize=LABEL, fontWeight=600, color=COLOUR["protein"]).encode(x=x, y=y, text="words:N")
    asked = alt.Chart(rows("named")).mark_text(align="right", dy=20, fontSize=LABEL, fontWeight=600, color="#6b5200").encode(x=x, y=y, text="words:N")
    point = alt.Chart(rows("here")).mark_point(size=260, filled=True, color="white", stroke=COLOUR["point"], strokeWidth=4, opacity=1).encode(x=x, y=y)
    return finished((band + line + have + words + asked + point).properties(width=WIDTH - 40, height=SIDE_PX), "Protein asked, protein in solution",
                    "yellow: thin to thick film; ring: this batter")


def film_data(film) -> dict[str, list[dict]]:
    """Rows for `film_chart` from a panel's Film."""
    um = np.geomspace(*FILM_UM, 41)
    per_um = film.held.film_protein_g * film.batter.drop_um
    thin, thick = film.thinnest_share, film.thickest_share
    low = FILM_G[0]
    asked = [{"um": u, "mid": max(m, low), "g": max(m * thin, low), "high": max(m * thick, low)} for u, m in zip(um.tolist(), (per_um / um).tolist())]
    have, here = film.held.dissolved_protein_g, film.held.film_protein_g
    return {"asked": asked if here > 0 else [], "have": [{"um": FILM_UM[1], "g": max(have, low), "words": f"in solution: {have:.2f} g" if have >= low else "in solution: none"}],
            "named": [{"um": FILM_UM[1] * 0.97, "g": max(per_um / FILM_UM[1], low * 1.5), "words": "asked by the fat's surface"}] if here > 0 else [],
            "here": [{"um": film.batter.drop_um, "g": min(max(here, low), FILM_G[1])}]}


def film_text(film) -> str:
    return (f"Protein that would coat the fat against drop size. At {film.batter.drop_um:g} µm the fat asks for {film.held.film_protein_g:.2f} g; "
            f"{film.held.dissolved_protein_g:.2f} g are in solution.")


def drops_chart(system: str) -> dict:
    """A square of batter with the free fat as drops, to scale. A drop with a film has a thick ring, a bare one a thin broken ring."""
    scale = alt.Scale(domain=[0, SIDE_UM], nice=False)
    x = alt.X("x:Q", scale=scale, axis=None)
    y = alt.Y("y:Q", scale=scale, axis=None)
    gel = alt.Chart(rows("gel")).mark_rect(color="#f3e3e6").encode(x=x, y=y, x2="x2:Q", y2="y2:Q")
    size = alt.Size("px2:Q", scale=None)
    drops = alt.Chart(rows("drops")).mark_circle(opacity=1, clip=True, aria=False).encode(x=x, y=y, size=size, color=alt.value(COLOUR["fat"]))
    ring = alt.Chart(rows("drops")).transform_filter("datum.film").mark_point(filled=False, opacity=1, clip=True, aria=False, stroke=COLOUR["protein"]).encode(
        x=x, y=y, size=size, strokeWidth=alt.StrokeWidth("ring:Q", scale=None))
    bare = alt.Chart(rows("drops")).transform_filter("!datum.film").mark_point(filled=False, opacity=1, clip=True, aria=False, stroke=COLOUR["ink"], strokeWidth=1.5, strokeDash=[3, 3]).encode(
        x=x, y=y, size=size)
    return finished((gel + drops + ring + bare).properties(width=SIDE_PX, height=SIDE_PX), "The same fat, as drops",
                    [f"a square of {SIDE_UM:g} µm; dark ring: film, broken ring: bare"])


def drops_data(film) -> dict[str, list[dict]]:
    """Drops on a grid, the same place for the same size. The share of drops with a film is the share of the surface that the protein covers."""
    share, um = film.free_fat_share, film.batter.drop_um
    gel = [{"x": 0, "y": 0, "x2": SIDE_UM, "y2": SIDE_UM}]
    if share <= 0:
        return {"gel": gel, "drops": []}
    pitch = um * np.sqrt(np.pi / 4 / share)
    n = max(int(np.ceil(SIDE_UM / pitch)), 1)
    i, j = (a.ravel() for a in np.meshgrid(np.arange(n), np.arange(n), indexing="ij"))
    rng = np.random.default_rng(7)
    shake = 0.42 * max(pitch - um, 0) * (2 * rng.random((2, n * n)) - 1)
    x, y = (i + 0.5) * pitch + shake[0], (j + 0.5) * pitch + shake[1]
    coated = rng.permutation(n * n) < round(film.covered_share * n * n)
    px = um * SIDE_PX / SIDE_UM
    ring = min(max(0.14 * px, 1.2), 5)
    return {"gel": gel, "drops": [{"x": a, "y": b, "px2": np.pi / 4 * px ** 2, "ring": ring, "film": bool(c)} for a, b, c in zip(x.tolist(), y.tolist(), coated.tolist())]}


def drops_text(film) -> str:
    return (f"Picture of fat drops of {film.batter.drop_um:g} µm in a square of {SIDE_UM:g} µm. The protein in solution coats {100 * film.covered_share:.0f} % of their surface.")


# the break map

SHOWN = {"total_out_g": "all that leaves", "fat_out_g": "fat that leaves", "water_out_g": "water that leaves"}


def map_chart(system: str) -> dict:
    """What leaves over two levers as tiles; the edge of the model as a heavy line; which limit fails first by name; the batch as a ring."""
    how = {"title": None, "scale": alt.Scale(zero=False, nice=False), "axis": alt.Axis(grid=False, tickCount=6)}
    x, y = alt.X("x:Q", **how), alt.Y("y:Q", **how)
    ramp = alt.Scale(domain=[0, 4, 8, 15, 30], range=["#fffaf4", "#fde3c8", "#f5b57a", "#d9692a", "#7c2a06"], clamp=True)
    tiles = alt.Chart(rows("tiles")).mark_rect(strokeWidth=1, aria=False).encode(
        x=x, y=y, x2="x2:Q", y2="y2:Q", stroke=alt.Stroke("out:Q", scale=ramp, legend=None),
        fill=alt.Fill("out:Q", scale=ramp, legend=alt.Legend(title="% of the raw batter that leaves", type="gradient", orient="top", gradientLength=420, titleLimit=420, values=[0, 5, 10, 15, 20, 30])))
    border = alt.Chart(rows("border")).mark_rule(color=COLOUR["quiet"], strokeWidth=1.5, strokeDash=[2, 3], aria=False).encode(x=x, y=y, x2="x2:Q", y2="y2:Q")
    edge = alt.Chart(rows("edge")).mark_rule(color=COLOUR["limit"], strokeWidth=4, strokeCap="round", aria=False).encode(x=x, y=y, x2="x2:Q", y2="y2:Q")
    halo = alt.Chart(rows("names")).mark_text(fontSize=LABEL, fontWeight=600, stroke="white", strokeWidth=5, strokeJoin="round").encode(x=x, y=y, text="words:N")
    names = alt.Chart(rows("names")).mark_text(fontSize=LABEL, fontWeight=600).encode(x=x, y=y, text="words:N")
    point = alt.Chart(rows("here")).mark_point(size=260, filled=True, color="white", stroke=COLOUR["point"], strokeWidth=4, opacity=1).encode(x=x, y=y)
    wide, high = WIDTH + 280, 380
    across = alt.Chart(rows("titles")).mark_text(fontSize=16, fontWeight=600, baseline="top").encode(x=alt.value(wide / 2), y=alt.value(high + 34), text="across:N")
    up = alt.Chart(rows("titles")).mark_text(fontSize=16, fontWeight=600, angle=270, baseline="bottom").encode(x=alt.value(-46), y=alt.value(high / 2), text="up:N")
    return finished((tiles + border + edge + halo + names + point + across + up).properties(width=wide, height=high), "Where the batch stands",
                    "heavy line: the nearest edge; words: the limit that fails first there; ring: this batch")


def map_data(found: BreakMap, shown: str, system: str, axis_units: tuple[str, str]) -> dict[str, list[dict]]:
    """Rows for `map_chart`. `axis_units`: the kit's units of the two axes, '' where only one is usual."""
    xs, ys = (units.to_shown(v, unit, system) for v, unit in zip((found.across_values, found.up_values), axis_units))
    out = np.asarray(getattr(found, shown))
    here = [units.to_shown(v, unit, system) for v, unit in zip(found.point, axis_units)]
    inside = xs[0] <= here[0] <= xs[-1] and ys[0] <= here[1] <= ys[-1]
    labels = [label if not unit else label.replace(unit, units.shown_unit(unit, system)) for label, unit in zip((found.across_label, found.up_label), axis_units)]
    return {"tiles": _tiles(xs, ys, out), "edge": _segments(xs, ys, found.least_margin), "border": _borders(xs, ys, found.weakest), "names": _names(xs, ys, found),
            "here": [{"x": here[0], "y": here[1]}] if inside else [], "titles": [{"across": labels[0], "up": labels[1]}]}


def _tiles(xs, ys, out) -> list[dict]:
    """Strips of one colour: neighbours in a row whose colour would be the same to the eye become one, so that a map is a few hundred marks."""
    level = np.round(np.minimum(out, LEAVES_SHOWN) * 2) / 2
    starts = np.pad(level[:, 1:] != level[:, :-1], ((0, 0), (1, 0)), constant_values=True)
    row, first = np.nonzero(starts)
    last = np.append(np.where(row[1:] == row[:-1], first[1:], len(xs)), len(xs)) - 1
    half_x, half_y = (xs[1] - xs[0]) / 2, (ys[1] - ys[0]) / 2
    edges = (np.clip(xs[first] - half_x, xs[0], xs[-1]), np.clip(xs[last] + half_x, xs[0], xs[-1]),
             np.clip(ys[row] - half_y, ys[0], ys[-1]), np.clip(ys[row] + half_y, ys[0], ys[-1]))
    return columns(x=edges[0], x2=edges[1], y=edges[2], y2=edges[3], out=level[row, first])


def _segments(xs, ys, z) -> list[dict]:
    """The line z = 0 as short pieces: each tile is two triangles, and a triangle's edge is crossed where the sign changes."""
    found = []
    x, y = np.meshgrid(xs, ys)
    a, b, c, d = ((x[s], y[s], z[s]) for s in (np.s_[:-1, :-1], np.s_[:-1, 1:], np.s_[1:, :-1], np.s_[1:, 1:]))
    for corners in ((a, b, c), (d, b, c)):
        ends = [_crossing(p, q) for p, q in ((corners[0], corners[1]), (corners[1], corners[2]), (corners[2], corners[0]))]
        for (x1, y1, one), (x2, y2, two) in ((ends[0], ends[1]), (ends[1], ends[2]), (ends[2], ends[0])):
            both = one & two
            found += [{"x": p, "y": q, "x2": r, "y2": s} for p, q, r, s in zip(x1[both].tolist(), y1[both].tolist(), x2[both].tolist(), y2[both].tolist())]
    return found


def _crossing(p, q):
    turns = np.signbit(p[2]) != np.signbit(q[2])
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.where(turns, p[2] / (p[2] - q[2]), 0.0)
    return p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]), turns


def _borders(xs, ys, weakest) -> list[dict]:
    """Where the limit that fails first changes from one grid point to the next."""
    half_x, half_y = (xs[1] - xs[0]) / 2, (ys[1] - ys[0]) / 2
    sideways, upwards = np.argwhere(weakest[:, 1:] != weakest[:, :-1]), np.argwhere(weakest[1:] != weakest[:-1])
    low, high = (np.clip(ys + s * half_y, ys[0], ys[-1]) for s in (-1, 1))
    left, right = (np.clip(xs + s * half_x, xs[0], xs[-1]) for s in (-1, 1))
    return ([{"x": xs[i] + half_x, "x2": xs[i] + half_x, "y": low[j], "y2": high[j]} for j, i in sideways]
            + [{"x": left[i], "x2": right[i], "y": ys[j] + half_y, "y2": ys[j] + half_y} for j, i in upwards])


def _names(xs, ys, found: BreakMap) -> list[dict]:
    """Each limit's name inside its region, at the tile of that region that lies deepest in it; regions too small for a name get none."""
    named = []
    for n, limit in enumerate(found.limits):
        mine = found.weakest == n
        if mine.mean() < 0.03:
            continue
        j, i = np.nonzero(mine)
        room = np.minimum.reduce([_depth(mine), *(np.broadcast_to(d, mine.shape) for d in _from_sides(mine.shape))])
        deep = np.flatnonzero(room[j, i] >= room[j, i].max() - 1e-9)
        at = deep[np.argmin(np.abs(j[deep] - j.mean()) + np.abs(i[deep] - i.mean()))]
        named.append({"x": xs[i[at]], "y": ys[j[at]], "words": f"{LIMIT_WORDS[limit]} first"})
    return named


def _depth(mine: np.ndarray) -> np.ndarray:
    """How many steps each tile of a region lies from its border, counting a step sideways a third as far, for words are wide."""
    depth, left = np.zeros(mine.shape), mine.copy()
    while left.any():
        depth += left
        padded = np.pad(left, ((1, 1), (3, 3)), constant_values=True)
        left = left & padded[:-2, 3:-3] & padded[2:, 3:-3] & np.logical_and.reduce([padded[1:-1, s:s + mine.shape[1]] for s in (0, 1, 2, 4, 5, 6)])
        if left.all():
            break
    return depth


def _from_sides(shape):
    """Room to the sides of the picture: words need more of it to the left and right."""
    j, i = np.arange(shape[0])[:, None], np.arange(shape[1])[None, :]
    yield np.minimum(j, shape[0] - 1 - j) + 0.5
    yield np.minimum(i, shape[1] - 1 - i) / 3


def map_text(found: BreakMap, shown: str) -> str:
    return (f"Map of {SHOWN[shown]} over {found.across_label} and {found.up_label}. This batch stands at {found.point[0]:.4g} and {found.point[1]:.4g}; "
            f"{found.point_total_out_g:.1f} % of it leaves in all. Past the edge on {100 * np.mean(found.least_margin < 0):.0f} % of the map.")


# remedies

def remedies_chart(system: str) -> dict:
    """Each single change that does it, by how many plain steps it is."""
    y = alt.Y("change:N", title=None, sort=None, axis=alt.Axis(labelLimit=420, ticks=False, domain=False))
    x = alt.X("steps:Q", title="size of the change, in plain steps", scale=alt.Scale(domain=[0, 20], nice=False, clamp=True))
    bar = alt.Chart(rows("changes")).mark_bar(height=24).encode(
        y=y, x=x, color=alt.Color("rank:N", scale=alt.Scale(domain=["smallest three", "larger"], range=[COLOUR["meets"], COLOUR["band"]]), legend=None))
    words = alt.Chart(rows("changes")).mark_text(align="left", dx=6, fontSize=LABEL).encode(y=y, x=x, text="words:N")
    return finished((bar + words).properties(width=WIDTH + 20, height=alt.Step(36)), "Single changes that would lift it", "dark: the three smallest")


def remedies_data(found, system: str, words_of) -> dict[str, list[dict]]:
    changes = [{"change": words_of(r, system), "steps": min(r.steps, 16.0), "rank": rank, "words": f"{r.steps:.1f} steps"}
               for rank, group in (("smallest three", found.cheapest), ("larger", found.dearer)) for r in group]
    return {"changes": changes} if changes else {}


def remedies_text(found) -> str:
    changes = (*found.cheapest, *found.dearer)
    return "Bars of single changes. " + (" ".join(f"{r.words}, {r.steps:.1f} plain steps." for r in changes) or "None reaches by itself.")


# the model beside what was measured

def beside_chart(title: str, subtitle: str, high: float):
    """A maker of charts with one line per measured row: what was measured as a ring, what the model says before as a square and after as a disc."""
    def chart(system: str) -> dict:
        y = alt.Y("label:N", title=None, sort=None, axis=alt.Axis(labelLimit=230, ticks=False, domain=False, grid=True))
        how = {"title": "lost, % of the raw batter", "scale": alt.Scale(domain=[0, high], nice=False, clamp=True)}
        move = alt.Chart(rows("rows")).mark_rule(strokeWidth=2, color=COLOUR["band"]).encode(y=y, x=alt.X("first:Q", **how), x2="second:Q")
        before = alt.Chart(rows("rows")).mark_point(shape="square", size=110, filled=True, color=COLOUR["unexplained"], opacity=1).encode(y=y, x=alt.X("first:Q", **how))
        after = alt.Chart(rows("rows")).mark_point(shape="circle", size=130, filled=True, color=COLOUR["cold"], opacity=1).encode(y=y, x=alt.X("second:Q", **how))
        measured = alt.Chart(rows("rows")).mark_point(shape="circle", size=300, filled=False, color=COLOUR["loss"], strokeWidth=3.5, opacity=1).encode(y=y, x=alt.X("measured:Q", **how))
        return finished((move + before + after + measured).properties(width=WIDTH + 120, height=alt.Step(27)), title, subtitle)
    return chart


def beside_data(labels, measured, first, second, high: float) -> dict[str, list[dict]]:
    """Rows for a `beside_chart`; what lies beyond its end is drawn at the end."""
    measured, first, second = (np.minimum(np.asarray(a, dtype=float), high) for a in (measured, first, second))
    return {"rows": [{"label": label, "measured": m, "first": a, "second": b} for label, m, a, b in zip(labels, measured.tolist(), first.tolist(), second.tolist())]}
