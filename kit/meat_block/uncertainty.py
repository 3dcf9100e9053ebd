"""How uncertain is the mix, and what would a fat test buy?

Fat of each lot is taken as normal and the lots as independent. A mix is a weighted sum, so its mean and standard deviation are exact
(`uncertainty`). `cloud` draws many mixes for anything that is not a straight line, cut to what is physically possible.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from statistics import NormalDist
from typing import Any

import numpy as np
import scipy as sp

from kit.errors import need, need_between
from kit.materials import Material
from kit.materials.composition import SDS_TO_90
from kit.meat_block.mix import Composition, compose, cooked
from kit.working import Result, step, working_of


@dataclass(frozen=True)
class FatUncertainty(Result):
    """Mean and standard deviation of the fat of the finished product, in percent. `lots`: the lots of uncertain fat."""

    mean_pct: float
    sd_pct: float
    lots: tuple[str, ...]

    @property
    def low_pct(self) -> float:
        """Lower end of the central 90 %."""
        return self.mean_pct - SDS_TO_90 * self.sd_pct

    @property
    def high_pct(self) -> float:
        return self.mean_pct + SDS_TO_90 * self.sd_pct

    def chance_over(self, limit_pct: float) -> float:
        """The chance, 0 to 1, that the fat lies over `limit_pct`. Without uncertainty it is 0 or 1; on the limit itself it is 0."""
        if self.sd_pct == 0:
            return float(self.mean_pct > limit_pct)
        return 1 - NormalDist(self.mean_pct, self.sd_pct).cdf(limit_pct)


@dataclass(frozen=True)
class FatTest(Result):
    """What one fat test of one lot would do to the uncertainty of the mix's fat."""

    lot: str
    mix_sd_before_pct: float
    mix_sd_after_pct: float

    @property
    def range_before_pct(self) -> float:
        """Width of the central 90 % of the mix's fat."""
        return 2 * SDS_TO_90 * self.mix_sd_before_pct

    @property
    def range_after_pct(self) -> float:
        return 2 * SDS_TO_90 * self.mix_sd_after_pct


def uncertainty(materials: Sequence[Material], kg, cook_yield_pct: float = 100.0) -> FatUncertainty:
    """How uncertain the fat of the finished product is.

    materials: k materials as bought, with the interval of their fat
    kg: weight of each, kg, shape (k,)
    cook_yield_pct: finished weight of raw weight, 1 to 100 %
    Returns FatUncertainty: mean and standard deviation, % of the finished product, with a 90 % interval.
    Raises OutOfRange for many recipes at once.
    Exact for normal, independent lots while their bounds lie well inside what is possible; a note says where they do not.
    Source: variance of a weighted sum.
    """
    materials, kg = tuple(materials), np.asarray(kg, float)
    need(kg.ndim == 1, "uncertainty takes one recipe; use cloud for many")
    mix = cooked(compose(materials, kg), cook_yield_pct)
    lot_sds = np.array([m.fat_sd_pct for m in materials])
    spread = kg / mix.total_kg * lot_sds
    sd = float(np.sqrt((spread**2).sum()))
    lots = [n for n in range(len(materials)) if spread[n] > 0]
    notes = tuple(
        f"{materials[n].name}: a normal with these bounds reaches fat that no meat can have; use cloud, whose samples are cut there"
        for n in lots
        if _outside(materials[n]) > 0.01
    )
    terms: dict[str, Any] = {}
    for n in lots:
        name = materials[n].name
        terms[f"m{n + 1}"] = (kg[n], "kg", f"weight of {name}")
        terms[f"s{n + 1}"] = (
            lot_sds[n],
            "percentage points",
            f"standard deviation of the fat of {name}",
        )
    inside = " + ".join(f"(m{n + 1} × s{n + 1}) ^ 2" for n in lots)
    what = "Standard deviation of fat in the finished product"
    terms["A"] = (mix.total_kg, "kg", "finished weight")
    work = step(what, f"D = √({inside}) / A", sd, "percentage points", **terms)
    return FatUncertainty(
        float(mix.fat_pct),
        sd,
        tuple(materials[n].name for n in lots),
        own_notes=(*mix.notes, *notes),
        own_sources=mix.sources,
        own_working=(work,) if lots else (),
    )


def cloud(
    materials: Sequence[Material],
    kg,
    rng: np.random.Generator,
    count: int = 10_000,
    cook_yield_pct: float = 100.0,
) -> Composition:
    """`count` mixes of the same weights, the fat of each lot drawn from its uncertainty, as one Composition of arrays.

    Each draw is a normal, cut where a part of the meat would be negative. `rng` is a seeded numpy Generator.
    """
    materials, kg = tuple(materials), np.asarray(kg, float)
    need(kg.ndim == 1, "samples are drawn around one recipe; give one weight per material")
    need_between("count of samples", count, 1, 1_000_000)
    fat = np.repeat([[m.fat_pct for m in materials]], count, axis=0)
    for n, m in enumerate(materials):
        if m.fat_sd_pct > 0 and kg[n] > 0:
            low, high = (
                sp.special.ndtr((edge - m.fat_pct) / m.fat_sd_pct) for edge in possible_fat(m)
            )
            fat[:, n] = m.fat_pct + m.fat_sd_pct * sp.special.ndtri(rng.uniform(low, high, count))
    mixes = compose(materials, np.broadcast_to(kg, (count, len(kg))), fat)
    return mixes if cook_yield_pct == 100 else cooked(mixes, cook_yield_pct)


def possible_fat(m: Material) -> tuple[float, float]:
    """The least and the greatest fat, percent, that leave no part of this meat negative as it moves along its lean line."""
    edges = [
        (-getattr(m, f"{part}_pct") / slope, slope)
        for part, slope in m.per_fat.items()
        if slope and part != "fat"
    ]
    low = max([0.0, *(m.fat_pct + step for step, slope in edges if slope > 0)])
    high = min([100.0, *(m.fat_pct + step for step, slope in edges if slope < 0)])
    return low, high


def after_fat_test(lot: Material, measured_fat_pct: float, standard_error_pct: float) -> Material:
    """The lot after a fat test: exact normal updating. What was believed and what was measured, weighted by 1 / variance."""
    need_between("measured fat in percent", measured_fat_pct, 0, 100)
    _need_error(standard_error_pct)
    if lot.fat_sd_pct == 0:
        return lot
    believed, tested = lot.fat_sd_pct**-2, standard_error_pct**-2
    fat = (lot.fat_pct * believed + measured_fat_pct * tested) / (believed + tested)
    half = SDS_TO_90 * _sd_after(lot.fat_sd_pct, standard_error_pct)
    return replace(
        lot.at_fat(fat),
        fat_low_pct=max(fat - half, 0.0),
        fat_high_pct=min(fat + half, 100.0),
        note="; ".join(
            filter(None, (lot.note, f"Fat updated by a test of {measured_fat_pct:g} %"))
        ),
    )


def worth_of_fat_tests(
    materials: Sequence[Material], kg, standard_error_pct: float, cook_yield_pct: float = 100.0
) -> tuple[FatTest, ...]:
    """What a test of each uncertain lot would do to the fat of the finished product, the most useful first. Empty where nothing is uncertain."""
    _need_error(standard_error_pct)
    materials, kg = tuple(materials), np.asarray(kg, float)
    before = uncertainty(materials, kg, cook_yield_pct)
    finished_kg = compose(materials, kg).total_kg * cook_yield_pct / 100
    tests = []
    for m, weight in zip(materials, kg):
        if m.fat_sd_pct == 0 or weight == 0:
            continue
        share, after = float(weight / finished_kg), _sd_after(m.fat_sd_pct, standard_error_pct)
        left = before.sd_pct**2 - share**2 * (m.fat_sd_pct**2 - after**2)
        mix_after = float(np.sqrt(max(left, 0.0)))
        sds = {"s": m.fat_sd_pct, "e": standard_error_pct, "d": before.sd_pct, "r": after}
        steps = working_of("fat test", lot=m.name, c=share, D=mix_after, **sds)
        tests.append(FatTest(m.name, before.sd_pct, mix_after, own_working=steps))
    return tuple(sorted(tests, key=lambda test: (test.mix_sd_after_pct, test.lot)))


def _need_error(standard_error_pct: float) -> None:
    why = "an exact test does not exist; give its standard error"
    need_between(
        "standard error of the fat test in percentage points", standard_error_pct, 1e-6, 50, why
    )


def _sd_after(sd: float, standard_error: float) -> float:
    return 1 / np.sqrt(sd**-2 + standard_error**-2)


def _outside(m: Material) -> float:
    low, high = possible_fat(m)
    normal = NormalDist(m.fat_pct, m.fat_sd_pct)
    return normal.cdf(low) + 1 - normal.cdf(high)
