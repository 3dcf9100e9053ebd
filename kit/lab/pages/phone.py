"""A page for phones: sliders move the four margins and the expected cook-out over a grid calculated beforehand. It stands alone: no kernel, no request to anywhere."""

import base64
import json
from collections.abc import Callable, Mapping, Sequence
from functools import lru_cache
from html import escape
from typing import NamedTuple

import numpy as np

from kit import tables, units
from kit.chain.chop import BLADES
from kit.chain.emulsion import DRAWS, SEED
from kit.classroom.plan import ClassPlan
from kit.emulsion.batter import NUMBERS, Batter
from kit.emulsion.factors import factor
from kit.emulsion.model import LIMIT_WORDS, work_out
from kit.emulsion.parameters import defaults
from kit.emulsion.spread import QUANTILES_PCT, cloud
from kit.lab.pages import Markup, filled
from kit.lab.pages.class_cards import eaten_words
from kit.trial.question import factors

TRIED = 300
"""settings at which the page is held against the model, none of them a point of its grid"""


def phone_html(plan: ClassPlan) -> str:
    """The page for the batter of a class: escaped, works where the file is opened, and says how far it is off the model."""
    batter, rows = plan.question.batter, tables.read_rows("trial", "phone.csv")
    numbers = tuple(float(getattr(batter, name)) for name in NUMBERS)
    grids, off = _grids(numbers, tuple(batter.fat_shares.items()))
    start = (0.0, batter.salt_pct, batter.fat_pct, batter.end_C)
    bars = (
        f'<li><span>{escape(words)} <b></b></span><i class="track"><i></i></i></li>'
        for words in LIMIT_WORDS.values()
    )
    given = {
        "grids": [grid.sent for grid in grids],
        "limits": list(LIMIT_WORDS.values()),
        "us": plan.units == units.US,
    }
    return filled(
        "phone.html",
        plan=plan,
        core=units.in_text(f"{batter.core_C:g} °C", plan.units),
        sliders=Markup("".join(map(_slider, rows, start))),
        bars=Markup("".join(bars)),
        off_margin=off[0][:4].max(),
        off_out_g=off[0][4],
        off_ends_g=off[1].max(),
        tried=TRIED,
        eaten=eaten_words(plan),
        blades=BLADES,
        given=Markup(json.dumps(given)),
    )


def _slider(row: Mapping[str, str], start: float) -> str:
    one = factors()[row["factor"]]
    low, high, step = (float(row[n]) for n in ("low", "high", "slider_step"))
    value = low + step * round((min(max(start, low), high) - low) / step)
    words = escape(one.label[0].upper() + one.label[1:])
    return (
        f'<label for="{one.key}">{words} <output for="{one.key}"></output></label>'
        f'<input id="{one.key}" type="range" min="{low:g}" max="{high:g}" step="{step:g}" value="{value:.6g}" data-unit="{escape(one.unit)}">'
    )


class Grid(NamedTuple):
    """Values at every combination of four axes. `cuts`: where the line through the final chopping temperature has a corner, so that no cubic runs across it."""

    axes: tuple[np.ndarray, ...]
    cuts: tuple[int, ...]
    values: np.ndarray
    answers: Callable[[Batter], np.ndarray]

    @property
    def sent(self) -> dict:
        whole = base64.b64encode(self.values.astype("<f4").tobytes()).decode()
        axes = [axis.tolist() for axis in self.axes]
        return {
            "axes": axes,
            "cuts": [[], [], [], self.cuts],
            "n": self.values.shape[-1],
            "data": whole,
        }

    def between(self, *settings: np.ndarray) -> np.ndarray:
        """The values at settings between the points, as the page calculates them."""
        weights = [
            np.array([_weights(axis, self.cuts if n == 3 else (), x) for x in its])
            for n, (axis, its) in enumerate(zip(self.axes, settings))
        ]
        return np.einsum("pa,pb,pc,pd,abcdn->pn", *weights, self.values)


def _weights(axis: np.ndarray, cuts: Sequence[int], x: float) -> np.ndarray:
    """The share of each point of an axis in the value at x: a cubic through the four nearest on one side of a corner."""
    first, last = 0, len(axis) - 1
    for cut in cuts:
        first, last = (cut, last) if x > axis[cut] else (first, min(last, cut))
    count = min(4, last - first + 1)
    while first + count <= last and axis[first + count // 2] < x:
        first += 1
    near, found = range(first, first + count), np.zeros(len(axis))
    for j in near:
        found[j] = np.prod([(x - axis[k]) / (axis[j] - axis[k]) for k in near if k != j])
    return found


@lru_cache(maxsize=2)
def _grids(numbers: tuple[float, ...], fats: tuple[tuple[str, float], ...]):
    """The two grids of one batter, and how far each is off the model."""
    batter = Batter(**dict(zip(NUMBERS, numbers)), fat_kind=dict(fats))
    rows = tables.read_rows("trial", "phone.csv")
    grids = [_grid(batter, rows, "nodes", _plain), _grid(batter, rows, "interval_nodes", _ends)]
    return grids, [_off(batter, grid) for grid in grids]


def _grid(batter: Batter, rows, nodes: str, answers: Callable[[Batter], np.ndarray]) -> Grid:
    kinds = defaults().fats
    corners = {kinds[kind].best_end_C for kind in batter.fat_shares}
    axes = [
        (np.geomspace if row["spacing"] == "ratio" else np.linspace)(
            float(row["low"]), float(row["high"]), int(row[nodes])
        )
        for row in rows
    ]
    axes[3] = np.unique([*axes[3], *(c for c in corners if axes[3][0] < c < axes[3][-1])])
    cuts = tuple(n for n, end in enumerate(axes[3]) if end in corners)
    values = [answers(_at(batter, ice, *np.meshgrid(*axes[1:], indexing="ij"))) for ice in axes[0]]
    return Grid(tuple(axes), cuts, np.array(values), answers)


def _at(batter: Batter, ice, salt, fat, end) -> Batter:
    """100 g of the batter with ice stirred in, of so much fat and salt; all else in step. Arrays broadcast."""
    ice_g, salt_pct, fat_pct = (
        factor(factors()[n].emulsion) for n in ("ice_g", "salt_pct", "fat_pct")
    )
    batter = ice_g.at(batter, ice)
    for _ in range(3):  # the one dilutes the other
        batter = salt_pct.at(fat_pct.at(batter, fat), salt)
    return batter.but(end_C=end)


def _plain(batter: Batter) -> np.ndarray:
    """Four margins, and the cook-out in g of 100 g."""
    state = work_out(batter, defaults())
    return np.stack(np.broadcast_arrays(*state.margins.values(), state.total_out_g), -1)


def _ends(batter: Batter) -> np.ndarray:
    """5 and 95 % of the cook-out."""
    drawn = cloud(np.random.default_rng(SEED), DRAWS, ndim=len(batter.shape))
    out = work_out(batter, drawn).total_out_g
    return np.moveaxis(np.percentile(out, (QUANTILES_PCT[0], QUANTILES_PCT[-1]), axis=0), 0, -1)


def _off(batter: Batter, grid: Grid) -> np.ndarray:
    """The largest difference from the model of each value."""
    rng = np.random.default_rng(SEED)
    settings = [rng.uniform(axis[0], axis[-1], TRIED) for axis in grid.axes]
    return np.abs(grid.between(*settings) - grid.answers(_at(batter, *settings))).max(axis=0)
