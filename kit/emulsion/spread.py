"""How uncertain is the answer? Thousands of draws of every uncertain number, and where the middle and the edges lie."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kit import tables
from kit.emulsion.batter import Batter, untried
from kit.emulsion.calibrate import Calibration
from kit.emulsion.held import model_sources
from kit.emulsion.model import work_out
from kit.emulsion.parameters import Parameters, drawn
from kit.faults import need_said
from kit.working import Result

LEAST_DRAWS = 200
DRAWS = 2000
QUANTILES_PCT = (5, 50, 95)


@dataclass(frozen=True, eq=False)
class EmulsionSpread(Result):
    """Median and 90 % interval (5, 50 and 95 % of the samples). Arrays have the quantile first, then the batter's own shape."""

    draws: int
    total_out_g: np.ndarray
    water_out_g: np.ndarray
    fat_out_g: np.ndarray
    solids_out_g: np.ndarray
    margins: dict[str, np.ndarray]
    below_edge_pct: dict[str, np.ndarray]
    """share of the samples in which a limit's margin is below 0: how far the uncertainty reaches below it; not a probability of failure"""


def cloud(
    rng: np.random.Generator,
    draws: int = DRAWS,
    calibration: Calibration | None = None,
    ndim: int = 0,
    misfit: Mapping[str, float] | None = None,
) -> Parameters:
    """Draws of every uncertain number, for batters of `ndim` axes: what `spread` works with, to keep where one set of draws serves many batters.

    What published tables still differ by once each has its own level is drawn as well: `misfit` of water and of fat, log-odds; the rows
    emulsion_misfit_*_log_odds unless given.
    """
    need_said(draws >= LEAST_DRAWS, "few draws", draws=draws, least=LEAST_DRAWS)
    p = drawn(draws, rng, ndim)
    p = calibration.settle_draws(p, draws, ndim, rng) if calibration else p
    misfit = misfit or {
        what: tables.value(f"emulsion_misfit_{what}_log_odds") for what in ("water", "fat")
    }
    water, fat = (
        misfit[what] * rng.standard_normal((draws,) + (1,) * ndim) for what in ("water", "fat")
    )
    return p.but(water_level=p.water_level + water, fat_level=p.fat_level + fat)


def spread(batter: Batter, parameters: Parameters, draws: int = DRAWS) -> EmulsionSpread:
    """The answers for one batter or many over a `cloud` of so many draws."""
    state, shape = work_out(batter, parameters), (draws, *batter.shape)

    def three(values):
        return np.percentile(np.broadcast_to(values, shape), QUANTILES_PCT, axis=0)

    margins = {limit: np.broadcast_to(margin, shape) for limit, margin in state.margins.items()}
    return EmulsionSpread(
        draws,
        three(state.total_out_g),
        three(state.water_out_g),
        three(state.fat_out_g),
        three(state.solids_out_g),
        {limit: three(margin) for limit, margin in margins.items()},
        {limit: 100 * np.mean(margin < 0, axis=0) for limit, margin in margins.items()},
        own_notes=untried(batter),
        own_sources=model_sources(batter),
    )
