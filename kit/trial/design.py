"""Which batter goes where: a design in station blocks, and its chance of seeing an effect."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import combinations
from math import ceil, comb, sqrt

import numpy as np
import scipy as sp
from scipy.special import stdtrit

from kit import tables
from kit.batches.power import beyond
from kit.errors import need, need_between, need_known
from kit.faults import need_said
from kit.trial.blocks import ALPHA, BlockFit, fit
from kit.trial.question import TrialQuestion
from kit.trial.rows import need_bounded
from kit.trial.scatter import ClassScatter
from kit.working import Result, notes_of

KINDS = {
    "pairs": "two batters at each station",
    "blocks": "every level at each station",
    "incomplete": "some of the levels at each station, in balanced sets",
    "dose": "every level at each station, for a straight line",
    "single": "one batter at each station",
    "split": "every level in bath runs of its own",
}
SIMULATED = 100_000
ORDER, LOT, FILLS, PENCIL = range(4)
"""purposes of the random numbers: the plan of one station never moves when another changes"""


@dataclass(frozen=True)
class Unit:
    """One batter of a station, or in a split design one bath run. `fills_g` are the weights to fill, one for each tube."""

    station: int
    batter: int
    treatment: int
    lot: int
    machine: int
    fills_g: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Design(Result):
    """Units in the order in which each station makes them."""

    question: TrialQuestion
    kind: str
    stations: int
    batters: int
    tubes: int
    seed: int
    units: tuple[Unit, ...]
    confounded: tuple[str, ...]
    """what this design cannot tell apart, in words"""

    @property
    def runs(self) -> tuple[Unit, ...]:
        """The units that are compared: batters, or in a split design bath runs."""
        return self.of(self.units[0].station) if self.kind == "split" else self.units

    @property
    def made(self) -> tuple[Unit, ...]:
        """The units that are chopped: in a split design a station's one batter fills the tubes of every run."""
        return tuple(u for u in self.units if self.kind != "split" or u.batter == 1)

    def of(self, station: int) -> tuple[Unit, ...]:
        """The units of one station."""
        return tuple(u for u in self.units if u.station == station)

    @cached_property
    def numbers(self) -> tuple[int, ...]:
        """Of the stations."""
        return tuple(sorted({u.station for u in self.units}))

    @cached_property
    def level(self) -> dict[tuple[int, int], int]:
        """(station, batter) -> treatment."""
        return {(u.station, u.batter): u.treatment for u in self.units}

    @cached_property
    def fill_g(self) -> dict[tuple[int, int, int], float]:
        """(station, batter, tube) -> weight to fill."""
        return {(u.station, u.batter, n): g for u in self.units for n, g in enumerate(u.fills_g, 1)}

    @property
    def dof(self) -> int:
        """Degrees of freedom of the comparison: of a straight line over stations."""
        return self.stations - 1 if self.kind == "dose" else self.plain.dof

    @property
    def blocked(self) -> bool:
        """Are batters compared inside stations?"""
        return self.kind not in ("single", "split")

    def fitted(self, means: Mapping[Unit, float]) -> BlockFit:
        """Least squares on the value of each unit of `runs`, or of some of them."""
        blocks = [u.station for u in means] if self.blocked else None
        return fit([*means.values()], blocks, [u.treatment for u in means])

    @cached_property
    def plain(self) -> BlockFit:
        """The fit of nothing: its degrees of freedom, and how much of a unit's variance each comparison keeps."""
        return self.fitted(dict.fromkeys(self.runs, 0.0))


def design(
    question: TrialQuestion,
    stations: int,
    batters: int = 2,
    tubes: int = 3,
    seed: int = 1,
    kind: str | None = None,
    lots: int = 1,
    machines: int = 1,
) -> Design:
    """A randomised design in station blocks.

    question: what is asked.
    stations: 2 to 99.
    batters: of each station (for a bath's temperature: runs of each level), 1 to 9.
    tubes: of each batter, 1 to 9.
    seed: of the random order, 0 to 2**31; the same seed gives the same plan.
    kind: a key of KINDS, or None for the one that fits.
    lots: of meat, 1 to 99; all batters of a station share one.
    machines: choppers, 1 to 99; all batters of a station share one.
    Returns a Design.
    Raises UnknownName for a kind, OutOfRange where the stations cannot carry it, with the nearest number that can.
    Source: randomized blocks and balanced incomplete blocks of the textbooks.
    """
    size = {"stations": stations, "batters": batters, "tubes": tubes}
    for name, value in {**size, "seed": seed, "lots": lots, "choppers": machines}.items():
        need_bounded(name, value)
    k, chosen = len(question.treatments), kind or _usual_kind(question, batters)
    need_known("kind of design", chosen, KINDS)
    _need_carried(question, chosen, k, stations, batters)
    if chosen == "split":
        order = random_of(seed, 0, ORDER).permutation(np.repeat(range(k), batters))
        orders = dict.fromkeys(range(1, stations + 1), tuple(map(int, order)))
    elif chosen in ("single", "incomplete"):
        orders = _groups(seed, stations, list(combinations(range(k), batters)))
    else:
        orders = _squares(seed, stations, k, batters // k)
    return Design(
        question,
        chosen,
        stations,
        batters,
        tubes,
        seed,
        _units(orders, tubes, seed, lots, machines),
        _confounded(chosen, k, batters),
        own_sources=(tables.cite("kit", "randomised blocks, seed shown", "computed"),),
    )


def _usual_kind(question: TrialQuestion, batters: int) -> str:
    k = len(question.treatments)
    if question.at_bath:
        return "split"
    if batters == 1:
        return "single"
    if k > batters:
        return "incomplete"
    if k >= 4 and len(question.factors) == 1:
        return "dose"
    return "pairs" if k == batters == 2 else "blocks"


def _need_carried(question: TrialQuestion, kind: str, k: int, stations: int, batters: int) -> None:
    """OutOfRange where so many stations and batters do not carry a kind of design for k levels."""
    need_said(question.at_bath == (kind == "split"), "bath and run together")
    if kind == "split":
        need_said(batters >= 2, "one run for each level")
    elif kind == "single":
        need(batters == 1, f"{batters} batters at a station; a single design has one")
        need(stations >= k + 1, f"{stations} stations for {k} levels; give {k + 1} or more")
    elif kind == "incomplete":
        need(2 <= batters < k, f"{batters} batters for {k} levels; sets take 2 to {k - 1}")
        sets = comb(k, batters)
        need(
            stations % sets == 0,
            f"{stations} stations; sets of {batters} of {k} levels are balanced over {sets} stations: give {ceil(stations / sets) * sets}",
        )
    else:
        fits = batters % k == 0 and (kind != "pairs" or batters == k == 2)
        need_said(fits, "batters for levels", batters=batters, k=k)
        line = kind != "dose" or len(question.factors) == 1 and k >= 3
        need(line, "a straight line takes one factor and three levels or more")


def random_of(seed: int, station: int, purpose: int) -> np.random.Generator:
    return np.random.default_rng((seed, station, purpose))


def _squares(seed: int, stations: int, k: int, times: int) -> dict[int, tuple[int, ...]]:
    """Orders balanced over groups of k stations: rows of a random Latin square, as often as each level comes."""
    orders = {}
    for station in range(1, stations + 1):
        group, row = divmod(station - 1, k)
        rng = random_of(seed, group, ORDER)
        order: list[int] = []
        for _ in range(times):
            names, rows, columns = (rng.permutation(k) for _ in range(3))
            order += [int(names[(rows[row] + column) % k]) for column in columns]
        orders[station] = tuple(order)
    return orders


def _groups(
    seed: int, stations: int, sets: Sequence[tuple[int, ...]]
) -> dict[int, tuple[int, ...]]:
    """Each group of stations shares out all sets once, in random order; the order inside a set is random too."""
    orders = {}
    for station in range(1, stations + 1):
        group, place = divmod(station - 1, len(sets))
        chosen = sets[random_of(seed, group, ORDER).permutation(len(sets))[place]]
        own = random_of(seed, 1000 + station, ORDER).permutation(len(chosen))
        orders[station] = tuple(chosen[n] for n in own)
    return orders


def _units(
    orders: dict[int, tuple[int, ...]], tubes: int, seed: int, lots: int, machines: int
) -> tuple[Unit, ...]:
    units = []
    for station, order in orders.items():
        fills = fills_g(len(order), tubes, random_of(seed, station, FILLS))
        group, place = divmod(station - 1, lots)
        lot = 1 + int(random_of(seed, group, LOT).permutation(lots)[place])
        where = lot, 1 + (station - 1) % machines
        units += [Unit(station, n, t, *where, g) for n, (t, g) in enumerate(zip(order, fills), 1)]
    return tuple(units)


def fills_g(batters: int, tubes: int, rng: np.random.Generator) -> tuple[tuple[float, ...], ...]:
    """A filled weight of its own for every tube of a station, in steps, dealt to the batters so that their sums are as even as steps allow.

    Steps shrink where many tubes would pass the bounds of the usual filled weight.
    """
    row, count = tables.number("trial_fill_g"), batters * tubes
    step = min(tables.value("trial_fill_step_g"), (row.high - row.low) / max(count - 1, 1))
    weights = row.value + step * (np.arange(count) - (count - 1) / 2)
    dealt: list[list[float]] = [[] for _ in range(batters)]
    for turn in range(tubes):  # there and back again, so that no batter gets all the heavy ones
        part = weights[turn * batters : (turn + 1) * batters]
        for n, weight in enumerate(part if turn % 2 == 0 else part[::-1]):
            dealt[n].append(round(float(weight), 1))
    return tuple(
        tuple(float(w) for w in rng.permutation(dealt[n])) for n in rng.permutation(batters)
    )


def _confounded(kind: str, k: int, batters: int) -> tuple[str, ...]:
    """What a design cannot tell apart. Balanced incomplete blocks keep k (B − 1) / (B (k − 1)) of the information, for B batters of k levels."""
    holds = {one: kind == one for one in ("single", "split", "incomplete")}
    holds["blocks"] = kind not in ("single", "split")
    left_pct = 100 * k * (batters - 1) / (batters * (k - 1))
    return notes_of("class design", holds, left_pct=left_pct)


def unit_sd(planned: Design, its: ClassScatter, balance_step_g: float = 0.01) -> float:
    """Standard deviation of one compared unit in percentage points: a batter's mean over its tubes, or a bath run's over its stations."""
    tube = its.tube_sd(balance_step_g, tables.value("trial_fill_g")) ** 2 / planned.tubes
    if planned.kind == "split":
        return sqrt(its.run_points**2 + tube / planned.stations)
    station = its.station_points**2 if planned.kind == "single" else 0.0
    return sqrt(station + its.batter_points**2 + tube)


def critical(planned: Design) -> float:
    """Half-width of the 95 % confidence interval in standard errors; over several comparisons at once it holds for all of them together."""
    weights, dof = planned.question.contrasts().values(), planned.dof
    if dof < 1:
        return float("inf")
    if len(weights) == 1 or len(planned.question.factors) == 2 or planned.kind == "dose":
        return float(stdtrit(dof, 1 - ALPHA / 2))
    cover = planned.plain.covariance(*weights)
    scale = 1 / np.sqrt(np.diag(cover))
    return _together(tuple(map(tuple, np.round(cover * np.outer(scale, scale), 9))), dof)


@lru_cache(maxsize=64)
def _together(correlation: tuple[tuple[float, ...], ...], dof: int) -> float:
    """The 95 % point of the largest |t| of comparisons with this correlation, simulated."""
    rng = np.random.default_rng(95)
    z = rng.multivariate_normal(
        np.zeros(len(correlation)), np.array(correlation), SIMULATED, method="eigh"
    )
    t = np.abs(z).max(axis=1) / np.sqrt(rng.chisquare(dof, SIMULATED) / dof)
    return float(np.quantile(t, 1 - ALPHA))


def _se(planned: Design, sd: float) -> float:
    """Standard error of the comparison with the last level, or of a straight line's whole span."""
    if planned.kind == "dose":
        levels = np.asarray(planned.question.levels[0])
        repeats = planned.batters // len(levels)
        spread = repeats * float(((levels - levels.mean()) ** 2).sum())
        return sd * float(np.ptp(levels)) / sqrt(planned.stations * spread)
    main = list(planned.question.contrasts().values())[planned.question.main]
    return sd * sqrt(planned.plain.covariance(main)[0, 0])


def power(planned: Design, its: ClassScatter, effect_points, balance_step_g: float = 0.01):
    """Chance that the 95 % confidence interval of the main comparison leaves 0 out.

    planned: the design.
    its: scatter of the class.
    effect_points: true effect in percentage points (of the last level; of the whole span for a straight line), a number or an array.
    balance_step_g: 0 to 20 g.
    Returns the chance, 0 to 1, in the shape of `effect_points`.
    Source: noncentral t with the design's own degrees of freedom.
    """
    dof = planned.dof
    effect = np.abs(np.asarray(effect_points, float))
    if dof < 1:
        return np.zeros_like(effect)[()]
    shift = effect / _se(planned, unit_sd(planned, its, balance_step_g))
    return beyond(critical(planned), dof, shift)


def smallest_effect(
    planned: Design, its: ClassScatter, chance: float | None = None, balance_step_g: float = 0.01
) -> float:
    """The effect that this design sees with a given chance.

    planned, its, balance_step_g: as for `power`. chance: 0.1 to 0.99; 0.8 where left out.
    Returns percentage points; infinite where the design has no degrees of freedom. Source: `power`, inverted.
    """
    usual = tables.value("trial_chance") if chance is None else chance
    wanted = need_between("chance", usual, 0.1, 0.99)
    if planned.plain.dof < 1:
        return float("inf")
    high = 1.0
    while power(planned, its, high, balance_step_g) < wanted:
        high *= 2

    def past(effect: float) -> float:
        return float(power(planned, its, effect, balance_step_g)) - wanted

    return float(sp.optimize.brentq(past, 0, high))
