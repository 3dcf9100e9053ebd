"""Where on the plane of ice and lean share does each limit run, and where may the batch really be?"""

from dataclasses import dataclass

import numpy as np

from kit.chain.mixes import amounts_of, meats_at
from kit.faults import need_said
from kit.materials import material
from kit.meat_block import compose
from kit.meat_block.uncertainty import cloud
from kit.rules.facts import facts_of
from kit.rules.rule_sets import RuleSet
from kit.sheet import Sheet

POINTS, DRAWS = 61, 160
MOST_ICE_PCT = 70.0
"""of the meat: where the plane ends"""


@dataclass(frozen=True, eq=False)
class Map:
    """Lean share (n) against ice in % of meat; between `least_ice_pct` and `most_ice_pct` every limit of the map holds.

    `edges`: each limit in words, and the ice at which it is reached, per lean share; nan where the plane does not reach it.
    `cloud_lean_pct`: the lean share of nominal meats that would hold the fat each draw gave.
    """

    lean_pct: np.ndarray
    edges: tuple[tuple[str, np.ndarray], ...]
    least_ice_pct: np.ndarray
    most_ice_pct: np.ndarray
    here_lean_pct: float
    here_ice_pct: float
    cloud_lean_pct: np.ndarray
    cloud_ice_pct: np.ndarray


def map_of(sheet: Sheet, rules: RuleSet, cook_yield_pct: float, rng: np.random.Generator) -> Map:
    """The limits over a plane of POINTS × POINTS mixes of this sheet, all else held. Needs a leanest meat and another one.

    The uncertainty is of fat, so it is drawn as a lean share: where the batch would stand if its trim had the fat of that draw.
    """
    shape = (POINTS, POINTS)
    lean_pct, ice_pct = np.linspace(0, 100, POINTS), np.linspace(0, MOST_ICE_PCT, POINTS)
    meats, kg = meats_at(sheet, lean_pct), np.empty((*shape, len(sheet.lines)))
    for n, line in enumerate(sheet.lines):
        held = 0.0 if line.kind in ("ice", "water") else line.kg
        kg[..., n] = meats.get(line.name, held)
    ice_kg = np.broadcast_to(ice_pct[:, None, None] / 100 * sheet.meat_kg, (*shape, 1))
    plane = compose((*sheet.materials, material("ice")), np.concatenate([kg, ice_kg], axis=-1))
    facts = facts_of(plane, cook_yield_pct)
    edges, least, most = [], np.zeros(POINTS), np.full(POINTS, MOST_ICE_PCT)
    for rule in rules.limits:
        value = getattr(facts, rule.quantity, None)
        if value is None or np.ndim(value) == 0 or not np.isfinite(value).all():
            continue
        margin = np.broadcast_to(rule.margin(value), shape)
        holds, at = margin >= 0, _crossing(margin, ice_pct)
        edges.append((f"{rule.title} {rule.limit:g} {rule.unit}".strip(), at))
        some = holds.any(axis=0)
        least = np.maximum(least, np.where(some, np.where(holds[0], 0, at), np.inf))
        most = np.minimum(most, np.where(some, np.where(holds[-1], MOST_ICE_PCT, at), -np.inf))
    here = amounts_of(sheet)
    lean, ice = here["lean_pct_of_meat"], here["ice_pct_of_meat"]
    drawn = _cloud(sheet, lean, ice, rng)
    return Map(lean_pct, tuple(edges), least, most, lean, ice, *drawn)


def _crossing(margin: np.ndarray, ice_pct: np.ndarray) -> np.ndarray:
    """Per column, the ice at which the margin first changes sign, by straight interpolation; nan where it never does."""
    turns = np.signbit(margin[:-1]) != np.signbit(margin[1:])
    at = np.argmax(turns, axis=0)
    column = np.arange(margin.shape[1])
    low, high = margin[at, column], margin[at + 1, column]
    with np.errstate(invalid="ignore", divide="ignore"):
        ice = ice_pct[at] + (ice_pct[at + 1] - ice_pct[at]) * low / (low - high)
    return np.where(turns.any(axis=0), ice, np.nan)


def _cloud(
    sheet: Sheet, lean_pct: float, ice_pct: float, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray]:
    """The shares and ices of batches whose fat is drawn."""
    kg = meats_at(sheet, lean_pct)
    lean, *others = (sheet.line(name) for name in kg)
    if not any(line.material.fat_sd_pct for line in (lean, *others)):
        return np.array([]), np.array([])
    drawn = cloud([line.material for line in (lean, *others)], [*kg.values()], rng, DRAWS)
    fat = np.asarray(drawn.meat_fat_kg) / sheet.meat_kg * 100
    rest = sum(line.kg for line in others)
    lean_fat = lean.material.fat_pct
    other_fat = sum(line.kg * line.material.fat_pct for line in others) / rest
    need_said(abs(other_fat - lean_fat) > 1e-9, "one fat in all meats")
    shares = 100 * (other_fat - fat) / (other_fat - lean_fat)
    return shares, ice_pct + rng.uniform(-1.2, 1.2, DRAWS)
