"""Cook-out over two factors: strips of colour, the edge of the model as a line, and which limit is first by name."""

import numpy as np

from kit import units
from kit.emulsion.break_map import BreakMap
from kit.emulsion.model import LIMITS
from kit.lab.charts import alt
from kit.lab.charts.emulsion import LIMIT_WORDS, OUT_SHOWN
from kit.lab.charts.marks import layer, picture
from kit.lab.charts.style import LABEL, TITLE
from kit.lab.panels.view import columns

SHOWN = {
    "total_out_g": "total cook-out",
    "fat_out_g": "fat released",
    "water_out_g": "water released",
}
RAMP = {0: "#fffaf4", 4: "#fde3c8", 8: "#f5b57a", 15: "#d9692a", 30: "#7c2a06"}
"""colour at each % of cook-out"""
WIDE, HIGH = 720, 360
"""whole pixels for each of 60 steps, so that no seams show"""


@alt.kept
def map_chart(system: str) -> dict:
    """Cook-out as tiles; the limit of the model as a heavy line; the smallest margin by name; the batch as a ring."""
    how = {"title": None, "scale": alt.Scale(domain=[0, 1], nice=False), "axis": None}
    at = {"x": alt.X("x:Q", **how), "y": alt.Y("y:Q", **how)}
    box = {**at, "x2": "x2:Q", "y2": "y2:Q", "aria": False}
    ramp = alt.Scale(domain=list(RAMP), range=list(RAMP.values()), clamp=True)
    legend = alt.Legend(
        title="cook-out (% of raw batter)",
        orient="top",
        gradientLength=420,
        titleLimit=420,
        values=[0, 5, 10, 15, 20, 30],
    )
    colour = alt.Color("out:Q", scale=ramp, legend=legend)
    thin = {"strokeWidth": 1, "colour": "quiet"}
    value = {"fontSize": LABEL, "dx": 0, "text": "words:N"}
    low = alt.value("height")
    below = {"x": at["x"], "y": low, "align": "center", "baseline": "top", "dy": 9}
    beside = {"x": alt.value(-9), "y": at["y"], "align": "right", "baseline": "middle"}
    title = {"fontSize": TITLE, "align": "center", "dx": 0}
    under = {"x": alt.XDatum(0.5, **how), "y": low, "baseline": "top", "dy": 34}
    middle = alt.YDatum(0.5, **how)
    left = {"x": alt.value(-46), "y": middle, "baseline": "bottom", "angle": 270}
    half = "4 * length(datum.words)"
    over = (f"max(0, {half} - {share} * width)" for share in ("datum.x", "(1 - datum.x)"))
    inside = alt.expr(" - ".join(over))
    return picture(
        "Cook-out over two factors",
        "heavy line: limit of the model; words: the smallest margin; ring: this batch",
        (WIDE, HIGH),
        layer("tiles", "shade", strokeWidth=0, color=colour, **box),
        layer("edge", "rule", colour="limit", strokeWidth=4, strokeCap="round", **box),
        layer("names", "words", halo=True, align="center", dx=inside, text="words:N", **at),
        layer("here", "ring", **at),
        layer("ticks_x", "rule", x=at["x"], y=alt.YDatum(0, **how), y2=alt.datum(-0.017), **thin),
        layer("ticks_y", "rule", y=at["y"], x=alt.value(-6), x2=alt.value(0), **thin),
        layer("ticks_x", "quiet words", **below, **value),
        layer("ticks_y", "quiet words", **beside, **value),
        layer("titles", "words", text="across:N", **under, **title),
        layer("titles", "words", text="up:N", **left, **title),
    )


def map_data(found: BreakMap, shown: str, system: str, axis_units: tuple[str, str]) -> dict:
    """Rows for `map_chart`, both axes from 0 to 1, so that one picture serves every pair of factors; the ticks carry the values.

    `axis_units`: the kit's units of the two axes, '' where only one is usual.
    """
    sides, here, labels, ticks = [], [], [], []
    names = (f"{factor.label}, {factor.unit}" for factor in (found.across, found.up))
    values = (found.across_values, found.up_values)
    for label, unit, value, point in zip(names, axis_units, values, found.point):
        low, high = float(value[0]), float(value[-1])
        sides.append((value - low) / (high - low))
        here.append(float((point - low) / (high - low)))
        labels.append(label.replace(unit, units.shown_unit(unit, system)) if unit else label)
        ticks.append(_ticks(*(float(units.to_shown(end, unit, system)) for end in (low, high))))
    inside = min(here) >= 0 and max(here) <= 1
    return {
        "tiles": _tiles(*sides, np.asarray(getattr(found, shown))),
        "edge": _segments(*sides, found.least_margin),
        "names": _names(*sides, found),
        "here": [{"x": here[0], "y": here[1]}] if inside else [],
        "titles": [{"across": labels[0], "up": labels[1]}],
        "ticks_x": [{"x": place, "words": words} for place, words in ticks[0]],
        "ticks_y": [{"y": place, "words": words} for place, words in ticks[1]],
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
    level = np.round(np.minimum(out, OUT_SHOWN) * 2) / 2
    starts = np.pad(level[:, 1:] != level[:, :-1], ((0, 0), (1, 0)), constant_values=True)
    row, first = np.nonzero(starts)
    last = np.append(np.where(row[1:] == row[:-1], first[1:], len(xs)), len(xs)) - 1
    (left, right), (low, high) = (
        np.clip((v - (v[1] - v[0]) / 2, v + (v[1] - v[0]) / 2), v[0], v[-1]) for v in (xs, ys)
    )
    strip = {"x": left[first], "x2": right[last], "y": low[row], "y2": high[row]}
    return columns(**strip, out=level[row, first])


def _segments(xs, ys, z) -> list[dict]:
    """The line z = 0 as short pieces: each tile is two triangles, and a triangle's edge is crossed where the sign changes."""
    found = []
    x, y = np.meshgrid(xs, ys)
    corner = (np.s_[:-1, :-1], np.s_[:-1, 1:], np.s_[1:, :-1], np.s_[1:, 1:])
    a, b, c, d = ((x[s], y[s], z[s]) for s in corner)
    for one, two, three in ((a, b, c), (d, b, c)):
        ends = [_crossing(one, two), _crossing(two, three), _crossing(three, one)]
        for (x1, y1, here), (x2, y2, there) in zip(ends, (*ends[1:], ends[0])):
            both = here & there
            found += columns(x=x1[both], y=y1[both], x2=x2[both], y2=y2[both])
    return found


def _crossing(p, q):
    turns = np.signbit(p[2]) != np.signbit(q[2])
    with np.errstate(divide="ignore", invalid="ignore"):
        t = np.where(turns, p[2] / (p[2] - q[2]), 0.0)
    return p[0] + t * (q[0] - p[0]), p[1] + t * (q[1] - p[1]), turns


def _names(xs, ys, found: BreakMap) -> list[dict]:
    """Each limit's name inside its region, at the tile that lies deepest in it; regions too small for a name get none.

    Words are wide: a step sideways counts a third of a step up.
    """
    from scipy.ndimage import distance_transform_edt

    named = []
    for n, limit in enumerate(LIMITS):
        mine = found.weakest == n
        if mine.mean() < 0.03:
            continue
        depth = distance_transform_edt(np.pad(mine, 1), sampling=(1, 1 / 3))[1:-1, 1:-1]
        j, i = np.unravel_index(np.argmax(depth), depth.shape)
        named.append({"x": xs[i], "y": ys[j], "words": LIMIT_WORDS[limit]})
    return named
