"""What leaves over two levers: strips of colour, the edge of the model as a line, and which limit is first by name."""

import altair as alt
import numpy as np

from kit import units
from kit.emulsion import BreakMap
from kit.lab.charts.emulsion.margins import LEAVES_SHOWN, LIMIT_WORDS
from kit.lab.charts.style import COLOUR, LABEL, TITLE, finished, rows

SHOWN = {
    "total_out_g": "all that leaves",
    "fat_out_g": "fat that leaves",
    "water_out_g": "water that leaves",
}


def map_chart(system: str) -> dict:
    """What leaves over two levers as tiles; the edge of the model as a heavy line; which limit fails first by name; the batch as a ring."""
    how = {"title": None, "scale": alt.Scale(domain=[0, 1], nice=False), "axis": None}
    x, y = alt.X("x:Q", **how), alt.Y("y:Q", **how)
    ramp = alt.Scale(
        domain=[0, 4, 8, 15, 30],
        range=["#fffaf4", "#fde3c8", "#f5b57a", "#d9692a", "#7c2a06"],
        clamp=True,
    )
    legend = alt.Legend(
        title="% of the raw batter that leaves",
        orient="top",
        gradientLength=420,
        titleLimit=420,
        values=[0, 5, 10, 15, 20, 30],
    )
    tiles = (
        alt.Chart(rows("tiles"))
        .mark_rect(strokeWidth=0, aria=False)
        .encode(x=x, y=y, x2="x2:Q", y2="y2:Q", color=alt.Color("out:Q", scale=ramp, legend=legend))
    )
    border = (
        alt.Chart(rows("border"))
        .mark_rule(color=COLOUR["quiet"], strokeWidth=1.5, strokeDash=[2, 3], aria=False)
        .encode(x=x, y=y, x2="x2:Q", y2="y2:Q")
    )
    edge = (
        alt.Chart(rows("edge"))
        .mark_rule(color=COLOUR["limit"], strokeWidth=4, strokeCap="round", aria=False)
        .encode(x=x, y=y, x2="x2:Q", y2="y2:Q")
    )
    halo = (
        alt.Chart(rows("names"))
        .mark_text(
            fontSize=LABEL, fontWeight=600, stroke="white", strokeWidth=5, strokeJoin="round"
        )
        .encode(x=x, y=y, text="words:N")
    )
    names = (
        alt.Chart(rows("names"))
        .mark_text(fontSize=LABEL, fontWeight=600)
        .encode(x=x, y=y, text="words:N")
    )
    point = (
        alt.Chart(rows("here"))
        .mark_point(
            size=260, filled=True, color="white", stroke=COLOUR["point"], strokeWidth=4, opacity=1
        )
        .encode(x=x, y=y)
    )
    wide, high = 720, 360  # whole pixels for each of 60 steps, so that no seams show
    across = (
        alt.Chart(rows("titles"))
        .mark_text(fontSize=TITLE, fontWeight=600, baseline="top")
        .encode(x=alt.value(wide / 2), y=alt.value(high + 34), text="across:N")
    )
    up = (
        alt.Chart(rows("titles"))
        .mark_text(fontSize=TITLE, fontWeight=600, angle=270, baseline="bottom")
        .encode(x=alt.value(-46), y=alt.value(high / 2), text="up:N")
    )
    below = (
        alt.Chart(rows("ticks_x"))
        .mark_text(fontSize=LABEL, baseline="top")
        .encode(x=x, y=alt.value(high + 9), text="words:N")
    )
    beside = (
        alt.Chart(rows("ticks_y"))
        .mark_text(fontSize=LABEL, align="right", baseline="middle")
        .encode(x=alt.value(-9), y=y, text="words:N")
    )
    marks_x = (
        alt.Chart(rows("ticks_x"))
        .mark_rule(strokeWidth=1, color=COLOUR["quiet"])
        .encode(x=x, y=alt.value(high), y2=alt.value(high + 6))
    )
    marks_y = (
        alt.Chart(rows("ticks_y"))
        .mark_rule(strokeWidth=1, color=COLOUR["quiet"])
        .encode(x=alt.value(-6), x2=alt.value(0), y=y)
    )
    return finished(
        (
            tiles
            + border
            + edge
            + halo
            + names
            + point
            + marks_x
            + marks_y
            + below
            + beside
            + across
            + up
        ).properties(width=wide, height=high),
        "Where the batch stands",
        "heavy line: the nearest edge; words: the limit that fails first there; ring: this batch",
    )


def map_data(
    found: BreakMap, shown: str, system: str, axis_units: tuple[str, str]
) -> dict[str, list[dict]]:
    """Rows for `map_chart`, both axes from 0 to 1, so that one picture serves every pair of levers; the ticks carry the values.

    `axis_units`: the kit's units of the two axes, '' where only one is usual.
    """
    across, up = ((v - v[0]) / (v[-1] - v[0]) for v in (found.across_values, found.up_values))
    here = [
        float((at - v[0]) / (v[-1] - v[0]))
        for at, v in zip(found.point, (found.across_values, found.up_values))
    ]
    labels = [
        label if not unit else label.replace(unit, units.shown_unit(unit, system))
        for label, unit in zip((found.across_label, found.up_label), axis_units)
    ]
    ticks_x, ticks_y = (
        _ticks(*(float(units.to_shown(v[end], unit, system)) for end in (0, -1)))
        for v, unit in zip((found.across_values, found.up_values), axis_units)
    )
    return {
        "tiles": _tiles(across, up, np.asarray(getattr(found, shown))),
        "edge": _segments(across, up, found.least_margin),
        "border": _borders(across, up, found.weakest),
        "names": _names(across, up, found),
        "here": [{"x": here[0], "y": here[1]}] if min(here) >= 0 and max(here) <= 1 else [],
        "titles": [{"across": labels[0], "up": labels[1]}],
        "ticks_x": [{"x": at, "words": words} for at, words in ticks_x],
        "ticks_y": [{"y": at, "words": words} for at, words in ticks_y],
    }


def _ticks(low: float, high: float) -> list[tuple[float, str]]:
    """Five to eight round values between two ends, as (place from 0 to 1, words)."""
    rough = (high - low) / 7
    power = 10.0 ** np.floor(np.log10(rough))
    size = min(s * power for s in (1, 2, 5, 10) if s * power >= rough)
    values = np.arange(np.ceil(low / size - 1e-9), np.floor(high / size + 1e-9) + 1) * size
    return [
        (float((v - low) / (high - low)), f"{v + 0.0:g}".replace("-", "−"))
        for v in np.round(values, 9)
    ]


def _tiles(xs, ys, out) -> list[dict]:
    """Strips of one colour: neighbours in a row whose colour would be the same to the eye become one, so that a map is a few hundred marks."""
    level = np.round(np.minimum(out, LEAVES_SHOWN) * 2) / 2
    starts = np.pad(level[:, 1:] != level[:, :-1], ((0, 0), (1, 0)), constant_values=True)
    row, first = np.nonzero(starts)
    last = np.append(np.where(row[1:] == row[:-1], first[1:], len(xs)), len(xs)) - 1
    half_x, half_y = (xs[1] - xs[0]) / 2, (ys[1] - ys[0]) / 2
    edges = (
        np.clip(xs[first] - half_x, xs[0], xs[-1]),
        np.clip(xs[last] + half_x, xs[0], xs[-1]),
        np.clip(ys[row] - half_y, ys[0], ys[-1]),
        np.clip(ys[row] + half_y, ys[0], ys[-1]),
    )
    return columns(x=edges[0], x2=edges[1], y=edges[2], y2=edges[3], out=level[row, first])


def _segments(xs, ys, z) -> list[dict]:
    """The line z = 0 as short pieces: each tile is two triangles, and a triangle's edge is crossed where the sign changes."""
    found = []
    x, y = np.meshgrid(xs, ys)
    a, b, c, d = (
        (x[s], y[s], z[s]) for s in (np.s_[:-1, :-1], np.s_[:-1, 1:], np.s_[1:, :-1], np.s_[1:, 1:])
    )
    for corners in ((a, b, c), (d, b, c)):
        ends = [
            _crossing(p, q)
            for p, q in (
                (corners[0], corners[1]),
                (corners[1], corners[2]),
                (corners[2], corners[0]),
            )
        ]
        for (x1, y1, one), (x2, y2, two) in (
            (ends[0], ends[1]),
            (ends[1], ends[2]),
            (ends[2], ends[0]),
        ):
            both = one & two
            found += [
                {"x": p, "y": q, "x2": r, "y2": s}
                for p, q, r, s in zip(
                    x1[both].tolist(), y1[both].tolist(), x2[both].tolist(), y2[both].tolist()
                )
            ]
    return found


def _crossing(p, q):
    turns = np.signbit(p[2]) != np.signbit(q[2])
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.where(turns, p[2] / (p[2] - q[2]), 0.0)
    return p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]), turns


def _borders(xs, ys, weakest) -> list[dict]:
    """Where the limit that fails first changes from one grid point to the next."""
    half_x, half_y = (xs[1] - xs[0]) / 2, (ys[1] - ys[0]) / 2
    sideways, upwards = (
        np.argwhere(weakest[:, 1:] != weakest[:, :-1]),
        np.argwhere(weakest[1:] != weakest[:-1]),
    )
    low, high = (np.clip(ys + s * half_y, ys[0], ys[-1]) for s in (-1, 1))
    left, right = (np.clip(xs + s * half_x, xs[0], xs[-1]) for s in (-1, 1))
    return [
        {"x": xs[i] + half_x, "x2": xs[i] + half_x, "y": low[j], "y2": high[j]} for j, i in sideways
    ] + [
        {"x": left[i], "x2": right[i], "y": ys[j] + half_y, "y2": ys[j] + half_y}
        for j, i in upwards
    ]


def _names(xs, ys, found: BreakMap) -> list[dict]:
    """Each limit's name inside its region, at the tile of that region that lies deepest in it; regions too small for a name get none."""
    named = []
    for n, limit in enumerate(found.limits):
        mine = found.weakest == n
        if mine.mean() < 0.03:
            continue
        j, i = np.nonzero(mine)
        room = np.minimum.reduce(
            [_depth(mine), *(np.broadcast_to(d, mine.shape) for d in _from_sides(mine.shape))]
        )
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
        left = (
            left
            & padded[:-2, 3:-3]
            & padded[2:, 3:-3]
            & np.logical_and.reduce(
                [padded[1:-1, s : s + mine.shape[1]] for s in (0, 1, 2, 4, 5, 6)]
            )
        )
        if left.all():
            break
    return depth


def _from_sides(shape):
    """Room to the sides of the picture: words need more of it to the left and right."""
    j, i = np.arange(shape[0])[:, None], np.arange(shape[1])[None, :]
    yield np.minimum(j, shape[0] - 1 - j) + 0.5
    yield np.minimum(i, shape[1] - 1 - i) / 3


def map_text(found: BreakMap, shown: str) -> str:
    return (
        f"Map of {SHOWN[shown]} over {found.across_label} and {found.up_label}. This batch stands at {found.point[0]:.4g} and {found.point[1]:.4g}; "
        f"{found.point_total_out_g:.1f} % of it leaves in all. Past the edge on {100 * np.mean(found.least_margin < 0):.0f} % of the map."
    )


def columns(**arrays) -> list[dict]:
    """Rows from arrays of one length."""
    listed = [a.tolist() for a in arrays.values()]
    return [dict(zip(arrays, row)) for row in zip(*listed)]
