"""A class's own tube tests or cook losses set the two levels of the model.

The two numbers are `water_level` and `fat_level`: the log-odds that water and that fat leave. Both shift the whole model up or
down and touch no slope, so every direction and limit survives. (Scaling the most fat that can leave was the other choice; it
cannot pass 1, so it could not reach what some laboratories measure. The steepness was a third; it turns over at a margin of 0.)

A row or two cannot say much: the uncertainty of the rows of emulsion.csv is the prior, and the answer is its compromise with the
measurements, weighed by the scatter of such tests and by what the model still misses when its level is right.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import NamedTuple

import numpy as np
import scipy as sp

from kit import tables
from kit.emulsion import model
from kit.emulsion.batter import Batter, untried
from kit.emulsion.model import work_out
from kit.emulsion.parameters import PER_FAT, PLAIN, Parameters, defaults, spread_of
from kit.errors import need, need_between
from kit.faults import need_said
from kit.working import Result, notes_of, working_of

LEVELS = ("water_level", "fat_level")
QUANTITIES = ("water_out_g", "fat_out_g", "total_out_g")
NORMAL_90 = NormalDist().inv_cdf(0.95)
"""half the width of the central 90 % of a normal, in standard deviations"""
_SCATTER = {
    "water_out_g": ("test_sd_water_g", "misfit_water_g"),
    "fat_out_g": ("test_sd_fat_g", "misfit_fat_g"),
    "total_out_g": ("test_sd_total_g", "misfit_water_g"),
}
"""scatter of the test, and what the model still misses, for each quantity"""
_MOST_STEPS, _CLOSE = 40, 1e-4


@dataclass(frozen=True)
class MeasuredLoss:
    """What one batter really lost, g of 100 g raw batter. Give what was measured; at least one. Drying is not part of it."""

    batter: Batter
    water_out_g: float | None = None
    fat_out_g: float | None = None
    total_out_g: float | None = None
    label: str = ""

    def __post_init__(self):
        need(self.batter.shape == (), "a measured row needs one batter, not an array of them")
        most = {
            "water_out_g": self.batter.water_pct,
            "fat_out_g": self.batter.fat_pct,
            "total_out_g": 100.0,
        }
        row = f"row {self.label or '(no label)'}"
        need_said(bool(self.given), "no measured loss", row=row, quantities=", ".join(QUANTITIES))
        why = "nothing can lose more than it holds, or less than nothing"
        for name in self.given:
            grams = need_between(f"{name} of {row}", getattr(self, name), 0, most[name], why)
            object.__setattr__(self, name, grams)

    @property
    def given(self) -> tuple[str, ...]:
        return tuple(name for name in QUANTITIES if getattr(self, name) is not None)

    @property
    def used(self) -> tuple[str, ...]:
        """What is fitted: water and fat where both are there, for then the total says nothing new."""
        return self.given[:2] if len(self.given) == 3 else self.given


def from_tube(
    batter: Batter, sample_g: float, fat_ml: float, gel_water_ml: float, label: str = ""
) -> MeasuredLoss:
    """A tube test: fat layer and exudate in ml from `sample_g` (1 to 1000 g) of batter. Exudate is taken at 1 g/ml."""
    why = "weigh the batter that went in"
    sample = need_between("sample in the tube, g", sample_g, 1, 1000, why)
    fat_g = fat_ml * tables.value("emulsion_fat_density_kg_per_L")
    return MeasuredLoss(batter, 100 * gel_water_ml / sample, 100 * fat_g / sample, label=label)


def from_cook(
    batter: Batter, raw_kg: float, cooked_kg: float, drying_pct: float = 0.0, label: str = ""
) -> MeasuredLoss:
    """A cook loss by weight. `drying_pct` of the raw weight is taken off first: what the smokehouse dried never left the gel as juice."""
    raw = need_between("raw weight, kg", raw_kg, 1e-6, 1e9)
    why = "the cooked weight cannot pass the raw weight"
    cooked = need_between("cooked weight, kg", cooked_kg, 0, raw, why)
    loss_pct, why = 100 * (1 - cooked / raw), "drying cannot pass the whole loss"
    drying = need_between("drying, % of raw weight", drying_pct, 0, loss_pct, why)
    return MeasuredLoss(batter, total_out_g=loss_pct - drying, label=label)


class FittedLoss(NamedTuple):
    """One measured value with what the model said before and after."""

    label: str
    quantity: str
    measured_g: float
    before_g: float
    after_g: float


@dataclass(frozen=True)
class Calibration(Result):
    """The two levels of one plant or class, with 90 % intervals, and the rows that set them."""

    name: str
    water_level: float
    fat_level: float
    water_level_90: tuple[float, float]
    fat_level_90: tuple[float, float]
    told_pct: tuple[float, ...]
    """by how much the rows narrowed the uncertainty of each level, % of its width before: 0 means the rows said nothing about it"""
    error_before_g: float
    error_after_g: float
    fitted: tuple[FittedLoss, ...]
    rows: tuple[MeasuredLoss, ...]

    @property
    def by_tubes(self) -> bool:
        return _by_parts(self.rows)

    @property
    def furthest(self) -> FittedLoss | None:
        """The measured value furthest from the model after the fit, where that is too many times its scatter: another cause than the batter."""
        off = {f: abs(f.measured_g - f.after_g) / _sd_of(f.quantity) for f in self.fitted}
        worst = max(self.fitted, key=off.__getitem__)
        return worst if off[worst] > tables.value("emulsion_far_out_sds") else None

    def settle(self, p: Parameters) -> Parameters:
        """`p` with the two levels in place."""
        return p.but(water_level=self.water_level, fat_level=self.fat_level)

    def settle_draws(
        self, p: Parameters, count: int, ndim: int, rng: np.random.Generator
    ) -> Parameters:
        """Drawn parameters `p` with levels fitted to the rows again for each draw, plus the uncertainty that the rows left.

        A draw that exaggerates salt gets the levels that still pass through what was measured, so the samples are narrow at the
        measured batters and opens away from them.
        """
        flat = _flattened(p)
        levels, covariance = _fit(self.rows, flat, count)
        wobble = np.einsum(
            "dij,dj->di", np.linalg.cholesky(covariance), rng.standard_normal((count, 2))
        )
        water, fat = (levels + wobble).T.reshape((2, count) + (1,) * ndim)
        return p.but(water_level=water, fat_level=fat)


def calibrate(rows: Iterable[MeasuredLoss], name: str = "own measurements") -> Calibration:
    """The two levels that best agree with measured rows and with the uncertainty before them.

    rows: measured losses, g of 100 g raw batter, one or more; the interval shows how little one says
    name: of the plant or class
    Returns Calibration: the log-odds that water and fat leave, with 90 % intervals, and every row before and after.
    Raises OutOfRange without rows.
    Valid for batters near the measured ones: the levels shift the whole model and touch no slope.
    Source: data/reference/emulsion.csv.
    """
    rows = tuple(rows)
    need(len(rows) > 0, "a calibration needs at least one measured row")
    levels, covariance = (a[0] for a in _fit(rows, defaults(), 1))
    sd = np.sqrt(np.diag(covariance))
    prior = np.array([spread_of(f"emulsion_{level}") for level in LEVELS])
    water, fat = map(float, levels)
    both = defaults(), defaults().but(water_level=water, fat_level=fat)
    fitted = tuple(
        FittedLoss(
            row.label or f"row {n}",
            quantity,
            getattr(row, quantity),
            *(float(getattr(work_out(row.batter, p), quantity)) for p in both),
        )
        for n, row in enumerate(rows, 1)
        for quantity in row.used
    )
    error = [
        float(np.mean([abs(getattr(f, which) - f.measured_g) for f in fitted]))
        for which in ("before_g", "after_g")
    ]
    interval = [(float(x - NORMAL_90 * s), float(x + NORMAL_90 * s)) for x, s in zip(levels, sd)]
    told = tuple(float(max(0.0, 100 * (1 - s / q))) for s, q in zip(sd, prior))
    used = (*LEVELS, "test_sd_water_g", "misfit_water_g")
    return Calibration(
        name,
        water,
        fat,
        interval[0],
        interval[1],
        told,
        error[0],
        error[1],
        fitted,
        rows,
        own_notes=_notes(rows, told, error[1], interval),
        own_sources=(
            *(tables.number(f"emulsion_{row}").cite() for row in used),
            tables.cite("beef_tube_yield2022", "abstract", "read"),
        ),
        own_working=tuple(
            step
            for level, t, s0, s in zip(LEVELS, told, prior, sd)
            for step in working_of("calibration", level=level, t=t, s=s, s0=s0)
        ),
    )


def _notes(rows, told, error_after, interval) -> tuple[str, ...]:
    notes = [f"{row.label or 'a row'}: {note}" for row in rows for note in untried(row.batter)]
    one, most = len(rows) == 1, ("emulsion_misfit_water_g", "emulsion_test_sd_total_g")
    narrow = " and is up to two fifths too narrow" if one else ""
    holds = {"few": len(rows) < 4, "totals": not _by_parts(rows)}
    holds["misfit"] = error_after > sum(map(tables.value, most))
    count = f"{len(rows)} measured {'row' if one else 'rows'}"
    notes += notes_of("calibration", holds, count=count, narrow=narrow, error_g=error_after)
    notes += notes_of("tube test", {"no yield": _by_parts(rows)})
    for what, level, share, (low, high) in zip(("water", "fat"), LEVELS, told, interval):
        bound = tables.number(f"emulsion_{level}")
        holds = {"untold": share < 10, "beyond": low > bound.high or high < bound.low}
        notes += notes_of("level", holds, what=what, level=level, low=bound.low, high=bound.high)
    return tuple(dict.fromkeys(notes))


def _by_parts(rows: Iterable[MeasuredLoss]) -> bool:
    """Does any row tell water from fat, as a tube does and a cook does not?"""
    return any(row.used != ("total_out_g",) for row in rows)


def _fit(rows, p: Parameters, count: int):
    """Levels (count, 2) and their covariance (count, 2, 2): Gauss-Newton steps to the mode, for every draw at once.

    The levels only shift a log-odds, so the model is calculated once per row and the steps move along its logistic lines.
    Where the rows scatter more than they should, their weight falls until they do not.
    """
    seen = [(row, name) for row in rows for name in row.used]
    measured = np.array([getattr(row, name) for row, name in seen])
    sd = np.array([_sd_of(name) for _, name in seen])

    def pairs(of):
        """What `of` gives for each observation, for water and fat: (count, observations, 2)."""
        each = [[np.broadcast_to(x, count) for x in of(row.batter, name)] for row, name in seen]
        return np.moveaxis(np.array(each), -1, 0)

    rest = pairs(lambda b, name: _rest(b, p))
    reach = pairs(lambda b, name: _reach(b, p)) * pairs(lambda b, name: _COUNTS[name](p))
    centre = np.array([tables.value(f"emulsion_{level}") for level in LEVELS])
    prior = np.diag([spread_of(f"emulsion_{level}") ** -2 for level in LEVELS])

    def modelled(levels):
        """What each observation should read, (count, observations), and its slope against the levels, (…, 2)."""
        share = sp.special.expit(rest + levels[:, None, :])
        return (reach * share).sum(axis=2), reach * share * (1 - share)

    def badness(levels):
        away = levels - centre
        return (((measured - modelled(levels)[0]) / sd) ** 2).sum(axis=1) + np.einsum(
            "di,ij,dj->d", away, prior, away
        )

    levels = np.tile(centre, (count, 1))
    for _ in range(_MOST_STEPS):
        said, slope = modelled(levels)
        j = slope / sd[:, None]
        pull = np.einsum("doi,do->di", j, (measured - said) / sd) - (levels - centre) @ prior
        move = np.linalg.solve(np.einsum("doi,doj->dij", j, j) + prior, pull[..., None])[..., 0]
        levels = levels + _held_back(badness, levels, move)[:, None] * move
        if np.abs(move).max() < _CLOSE:
            break
    said, slope = modelled(levels)
    j = slope / sd[:, None]
    scatter = (((measured - said) / sd) ** 2).sum(axis=1) / max(len(measured) - len(LEVELS), 1)
    weight = 1 / np.maximum(scatter, 1.0) if len(measured) > len(LEVELS) else np.ones(count)
    return levels, np.linalg.inv(weight[:, None, None] * np.einsum("doi,doj->dij", j, j) + prior)


_COUNTS = {
    "water_out_g": lambda p: (1.0, 0.0),
    "fat_out_g": lambda p: (0.0, 1.0),
    "total_out_g": lambda p: (1.0 + p.solids_share, 1.0),
}
"""how water and fat that leave add up to each quantity"""


def _held_back(badness, levels, move):
    """Share of each move to take: halved until it no longer makes things worse."""
    length, here = np.ones(len(levels)), badness(levels)
    for _ in range(8):
        worse = badness(levels + length[:, None] * move) > here + 1e-12
        if not worse.any():
            break
        length = np.where(worse, length / 2, length)
    return length


def _reach(b: Batter, p: Parameters):
    """The most water and the most fat that could leave, g."""
    fat = b.fat_pct * model.most_lost(b, p) * model.melted_share(b, p)
    return b.water_pct * model.denatured(b, p), fat


def _rest(b: Batter, p: Parameters):
    """The log-odds that water and fat leave, less their levels."""
    return model.water_pull(b, p) - p.water_level, -p.fat_steepness * model.fat_margin(b, p)


def _sd_of(quantity: str) -> float:
    """How far a measured value may lie from the model, g: scatter of the test and what the model misses, in squares."""
    test, misfit = (tables.value(f"emulsion_{row}") for row in _SCATTER[quantity])
    return float(np.hypot(test, misfit))


def _flattened(p: Parameters) -> Parameters:
    """Drawn parameters with their draws along one axis only."""

    def flat(owner, names):
        arrays = {name: getattr(owner, name) for name in names if np.ndim(getattr(owner, name))}
        return replace(owner, **{name: np.ravel(array) for name, array in arrays.items()})

    fats = {kind: flat(fat, PER_FAT) for kind, fat in p.fats.items()}
    return replace(flat(p, PLAIN), fats=fats)
