"""Which limit has the smallest margin, and what is the least single change that restores it?"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kit.emulsion.batter import Batter, untried
from kit.emulsion.calibrate import Calibration
from kit.emulsion.factors import FACTORS, Factor
from kit.emulsion.held import CAUTION, model_sources
from kit.emulsion.model import LIMITS, BatterState, work_out
from kit.emulsion.parameters import Parameters, defaults
from kit.errors import UnknownName, need, need_between
from kit.working import Result, Step, notes_of, working_of

ROUNDING = 1e-9
"""a margin that moved by less has not moved"""
_FINENESS, _ROUNDS = 401, 3


@dataclass(frozen=True)
class CorrectiveAction:
    """The smallest change of one factor that restores the limit and pushes no other limit below what is wanted."""

    factor: Factor
    before: float
    after: float
    batter: Batter
    state: BatterState
    """of the batter with the change"""

    @property
    def change(self) -> str:
        """The change without its numbers, such as 'less fat'."""
        return self.factor.down if self.after < self.before else self.factor.up

    @property
    def steps(self) -> float:
        """Size of the change in unit steps."""
        return abs(self.after - self.before) / self.factor.unit_step


@dataclass(frozen=True)
class OutOfReach:
    """A factor that cannot restore the limit by itself within its bounds."""

    factor: Factor
    best: float
    """the highest margin of the limit that it reaches; other limits may have fallen below"""
    at: float


@dataclass(frozen=True)
class CorrectiveActions(Result):
    """`margin` of `limit` now, `wanted`, the single changes that restore it, the smallest first, and the factors that do not reach."""

    limit: str
    margin: float
    wanted: float
    others_below: tuple[str, ...]
    """further limits below what is wanted; an action for the first does not restore them unless it says so"""
    actions: tuple[CorrectiveAction, ...]
    out_of_reach: tuple[OutOfReach, ...]
    total_out_g: float

    @property
    def short_by(self) -> float:
        return max(0.0, self.wanted - self.margin)


def corrective_actions(
    batter: Batter,
    wanted: float = 0.0,
    limit: str | None = None,
    calibration: Calibration | None = None,
    factors: Mapping[str, Factor] = FACTORS,
) -> CorrectiveActions:
    """The least single changes that restore a limit, one for each factor: roots of the model.

    batter: one raw batter, floats
    wanted: the margin to reach, −5 to 5; 0 is the edge
    limit: one of LIMITS; the one with the smallest margin unless given
    calibration: a plant's own levels
    factors: what may be changed; others than FACTORS where the chopper's balance is known (kit.chain.corrective_actions)
    Returns CorrectiveActions: fewest unit steps first; no limit is pushed below `wanted`, or lower still if it lay there already.
    Raises OutOfRange for many batters or an impossible margin; UnknownName for a limit.
    Valid where the model was tried (notes). A teaching model.
    Source: data/reference/emulsion.csv, emulsion_factor_*.
    """
    need(batter.shape == (), "corrective actions are sought for one batter")
    need_between("wanted margin", wanted, -5, 5, "0 is the edge")
    if limit is not None and limit not in LIMITS:
        raise UnknownName("limit", limit, LIMITS)
    p = calibration.settle(defaults()) if calibration else defaults()
    state = work_out(batter, p)
    now = {name: float(margin) for name, margin in state.margins.items()}
    limit = limit or LIMITS[int(state.weakest)]
    found, beyond = [], []
    for each in factors.values() if now[limit] < wanted else ():
        after, best = _nearest(batter, each, limit, wanted, now, p)
        if after is None:
            beyond.append(best)
        else:
            new = each.at(batter, after)
            before = float(each.here(batter))
            found.append(CorrectiveAction(each, before, after, new, work_out(new, p)))
    found.sort(key=lambda action: action.steps)
    others = tuple(name for name in LIMITS if name != limit and now[name] < wanted)
    changed, short = {action.factor.name for action in found}, now[limit] < wanted
    holds = {"restored": not short, "none": short and not found, "others": short and others}
    holds |= {"ice": short and factors is FACTORS and "ice_g" in changed}
    holds |= {"bounded": bool(changed & {"salt_pct", "phosphate_pct", "binder_g"})}
    holds |= {"cook": "core_C" in changed, "lean": short}
    said = {"limit": limit, "margin": now[limit], "wanted": wanted, "others": ", ".join(others)}
    about = notes_of("corrective actions", holds, **said)
    by = {"short": max(0.0, wanted - now[limit]), "wanted": wanted, "margin": now[limit]}
    steps = working_of("short margin", limit=limit, **by)
    return CorrectiveActions(
        limit,
        now[limit],
        wanted,
        others,
        tuple(found),
        tuple(beyond),
        float(state.total_out_g),
        own_notes=(*untried(batter), *about, CAUTION),
        own_sources=(*model_sources(batter), *(a.factor.row.cite() for a in found)),
        own_working=(*steps, *(step for action in found for step in _counted(action))),
    )


def _nearest(
    batter: Batter, each: Factor, limit: str, wanted: float, now: dict, p: Parameters
) -> tuple[float | None, OutOfReach]:
    """The value of the factor closest to where it is that restores the limit, None if there is none; and the best that it reaches.

    From where it is to each bound on ever finer grids; margins need not be monotone.
    """
    here, hits, best = float(each.here(batter)), [], []
    least = {name: min(margin, wanted) for name, margin in now.items()} | {limit: wanted}
    for end in dict.fromkeys(each.action_range(batter)):
        start, stop = here, end
        for turn in range(_ROUNDS):
            tried = np.linspace(start, stop, _FINENESS)
            margins = {
                name: np.broadcast_to(margin, tried.shape)
                for name, margin in work_out(each.at(batter, tried), p).margins.items()
            }
            if turn == 0:
                most = int(np.argmax(margins[limit]))
                best.append((float(margins[limit][most]), float(tried[most])))
            good = np.logical_and.reduce(
                [m >= least[name] - ROUNDING * (name != limit) for name, m in margins.items()]
            )
            if not good.any():
                break
            first = int(np.argmax(good))
            start, stop = tried[max(first - 1, 0)], tried[first]
        else:
            hits.append(float(stop))
    reached = OutOfReach(each, *max(best, key=lambda found: found[0]))
    return min(hits, key=lambda x: abs(x - here), default=None), reached


def _counted(action: CorrectiveAction) -> tuple[Step, ...]:
    words = {"factor": action.factor.name, "unit": action.factor.unit, "change": action.change}
    known = {"after": action.after, "before": action.before, "one": action.factor.unit_step}
    return working_of("size of a change", steps=action.steps, **known, **words)
