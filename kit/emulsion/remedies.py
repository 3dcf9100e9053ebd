"""Which limit fails first, by how much, and what is the least that would put it right?"""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from kit.emulsion.batter import Batter, untried
from kit.emulsion.calibrate import Calibration
from kit.emulsion.held import CAUTION, model_sources
from kit.emulsion.levers import LEVERS, Lever
from kit.emulsion.model import LIMITS, work_out
from kit.emulsion.parameters import defaults
from kit.errors import UnknownName, need, need_between
from kit.working import Result, Step, step

CHEAPEST = 3
ROUNDING = 1e-9
"""a margin that moved by less has not moved"""
_FINENESS, _ROUNDS = 401, 3


@dataclass(frozen=True)
class Remedy:
    """The smallest change of one lever that lifts the limit to what is wanted and pushes no other limit below it."""

    lever: str
    change: str
    """the change without its numbers, such as 'less fat'"""
    words: str
    """such as 'less fat: 34 to 30.1 % of batter'"""
    unit: str
    before: float
    after: float
    steps: float
    """how many plain steps the change is"""
    plain_step: float
    price: float | None
    """cost for 100 g of batter, in the currency of the prices given; None without a price"""
    margins_after: dict[str, float]
    total_out_after_g: float
    batter: Batter


@dataclass(frozen=True)
class OutOfReach:
    """A lever that cannot restore the limit by itself within its bounds."""

    lever: str
    label: str
    unit: str
    best: float
    """the highest margin of the limit, or the least loss, that it reaches; other limits may have fallen below"""
    at: float


@dataclass(frozen=True)
class Remedies(Result):
    """`margin` of `limit` now, `wanted`, the cheapest changes, the dearer ones, and the levers that do not reach."""

    limit: str
    margin: float
    short_by: float
    wanted: float
    others_below: tuple[str, ...]
    """further limits below what is wanted; a remedy for the first does not mend them unless it says so"""
    cheapest: tuple[Remedy, ...]
    dearer: tuple[Remedy, ...]
    out_of_reach: tuple[OutOfReach, ...]
    total_out_g: float
    loss_at_most_g: float | None
    """the wish in grams, if it was one of grams"""

    @property
    def all(self) -> tuple["Remedy", ...]:
        """Every change that does it, the cheapest first."""
        return (*self.cheapest, *self.dearer)


def remedies(
    batter: Batter,
    wanted: float = 0.0,
    limit: str | None = None,
    loss_at_most_g: float | None = None,
    prices: Mapping[str, float] | None = None,
    calibration: Calibration | None = None,
    levers: Mapping[str, Lever] = LEVERS,
) -> Remedies:
    """The least single changes that restore a limit, one per lever: roots of the model.

    batter: one. wanted: the margin to reach, −5 to 5, 0 is the edge. limit: one of LIMITS, the weakest unless given.
    loss_at_most_g: instead of a margin, no more than this may leave in all (g of 100 g raw). prices: {lever: cost of one plain
    step for 100 g}; then least cost goes first, else fewest plain steps. levers: others than LEVERS, such as those of a chain
    that knows what ice does to the temperature. No limit may be pushed below `wanted`.
    Raises OutOfRange and UnknownName for what cannot be.
    """
    need(batter.shape == (), "remedies are sought for one batter")
    need_between("wanted margin", wanted, -5, 5, "0 is the edge")
    if loss_at_most_g is not None:
        need_between("loss wished for, g of 100 g", loss_at_most_g, 0, 100)
    prices = dict(prices or {})
    for name, price in prices.items():
        if name not in levers:
            raise UnknownName("lever", name, levers)
        need_between(f"price of {name}", price, 0, 1e12)
    if limit is not None and limit not in LIMITS:
        raise UnknownName("limit", limit, LIMITS)
    p = calibration.settle(defaults()) if calibration else defaults()
    state = work_out(batter, p)
    now = {name: float(margin) for name, margin in state.margins.items()}
    limit = limit or LIMITS[int(state.weakest)]
    wish = Wish(limit, wanted, now, loss_at_most_g)
    granted, found, beyond = bool(wish.granted(state)), [], []
    for each in () if granted else levers.values():
        hit, best = _nearest_root(batter, each, wish, p)
        if hit is None:
            beyond.append(best)
        else:
            found.append(_remedy(batter, each, hit, prices.get(each.name), p))
    found.sort(key=lambda r: (r.price is None, r.price or 0.0, r.steps))
    others = tuple(name for name in LIMITS if name != limit and now[name] < wanted)
    rows = (levers[r.lever].row.cite() for r in found)
    return Remedies(
        limit=limit,
        margin=now[limit],
        short_by=max(0.0, wanted - now[limit]),
        wanted=wanted,
        others_below=others,
        cheapest=tuple(found[:CHEAPEST]),
        dearer=tuple(found[CHEAPEST:]),
        out_of_reach=tuple(beyond),
        total_out_g=float(state.total_out_g),
        loss_at_most_g=loss_at_most_g,
        own_notes=_notes(batter, wish, granted, others, found, prices, levers),
        own_sources=(*model_sources(batter), *rows),
        own_working=(_short(limit, wanted, now[limit]), *(_counted(r) for r in found)),
    )


@dataclass(frozen=True)
class Wish:
    """What a remedy must bring about."""

    limit: str
    wanted: float
    now: dict[str, float]
    loss_at_most_g: float | None

    def score(self, state):
        """Higher is better; the margin sought, or the loss with its sign turned."""
        return state.margins[self.limit] if self.loss_at_most_g is None else -state.total_out_g

    def granted(self, state):
        """The wish is met, and no limit is pushed below what is wanted, or lower still if it lay there already."""
        enough = self.wanted if self.loss_at_most_g is None else -self.loss_at_most_g
        sought = self.limit if self.loss_at_most_g is None else None
        kept = (
            state.margins[name] >= min(margin, self.wanted) - ROUNDING
            for name, margin in self.now.items()
            if name != sought
        )
        return np.logical_and.reduce(np.broadcast_arrays(self.score(state) >= enough, *kept))


def _nearest_root(batter, each: Lever, wish: Wish, p) -> tuple[float | None, OutOfReach]:
    """The value of the lever closest to where it stands that grants the wish, None if there is none; and the best that it reaches.

    From where it stands to each bound on ever finer grids; margins need not be monotone.
    """
    here, hits, best = float(each.here(batter)), [], []
    for end in dict.fromkeys(each.remedy_range(batter)):
        start, stop = here, end
        for turn in range(_ROUNDS):
            tried = np.linspace(start, stop, _FINENESS)
            state = work_out(each.at(batter, tried), p)
            if turn == 0:
                scores = np.broadcast_to(wish.score(state), tried.shape)
                most = int(np.argmax(scores))
                best.append((float(scores[most]), float(tried[most])))
            good = np.broadcast_to(wish.granted(state), tried.shape)
            if not good.any():
                break
            first = int(np.argmax(good))
            start, stop = tried[max(first - 1, 0)], tried[first]
        else:
            hits.append(float(stop))
    score, at = max(best, key=lambda reached: reached[0])
    nearest = min(hits, key=lambda x: abs(x - here), default=None)
    reached = score if wish.loss_at_most_g is None else abs(score)
    return nearest, OutOfReach(each.name, each.label, each.unit, reached, at)


def _remedy(batter, each: Lever, after: float, price: float | None, p) -> Remedy:
    before, new = float(each.here(batter)), each.at(batter, after)
    state, steps = work_out(new, p), abs(after - before) / each.plain_step
    change = each.down if after < before else each.up
    return Remedy(
        lever=each.name,
        change=change,
        words=f"{change}: {before:.4g} to {after:.4g} {each.unit}",
        unit=each.unit,
        before=before,
        after=after,
        steps=steps,
        plain_step=each.plain_step,
        price=None if price is None else price * steps,
        margins_after={name: float(margin) for name, margin in state.margins.items()},
        total_out_after_g=float(state.total_out_g),
        batter=new,
    )


def _short(limit: str, wanted: float, margin: float) -> Step:
    what, short = f"how far the margin of {limit} falls short", max(0.0, wanted - margin)
    return step(what, "short = max(0, wanted − margin)", short, wanted=wanted, margin=margin)


def _counted(r: Remedy) -> Step:
    return step(
        f"size of the change, {r.words}",
        "steps = abs(after − before) / one",
        r.steps,
        "plain steps",
        key=r.lever,
        after=(r.after, r.unit),
        before=(r.before, r.unit),
        one=(r.plain_step, r.unit, "one plain step"),
    )


def _notes(batter, wish: Wish, granted: bool, others, found, prices, levers) -> tuple[str, ...]:
    notes = [*untried(batter)]
    if granted:
        have = (
            f"the margin of {wish.limit} is {wish.now[wish.limit]:.2g}, at or above the {wish.wanted:g} wanted"
            if wish.loss_at_most_g is None
            else f"no more leaves than the {wish.loss_at_most_g:g} g wished for"
        )
        return (*notes, f"{have}: nothing to restore", CAUTION)
    if not found:
        notes.append(
            "no single lever restores it within its bounds; change two things, or see which comes closest"
        )
    if others:
        notes.append(f"also below what is wanted: {', '.join(others)}; seek remedies for each")
    if prices and any(r.price is None for r in found):
        notes.append(
            f"no price was given for {', '.join(r.lever for r in found if r.price is None)}; these come after the priced ones"
        )
    if levers is LEVERS and any(r.lever == "ice_g" for r in found):
        notes.append(
            "ice counts as water here; that it also cools the batter is for the chopper's heat balance"
        )
    if any(r.lever in ("salt_pct", "phosphate_pct", "binder_g") for r in found):
        notes.append(
            "salt, phosphate and binder are bounded by the rule that applies and by the label; allergens come with some binders"
        )
    if any(r.lever == "core_C" for r in found):
        notes.append(
            "a lower cook must still meet the validated lethality step; local codes and licensed practice decide"
        )
    return (*notes, "lean meat is taken as bringing no collagen of its own", CAUTION)
