"""One probe sits in one link: what must the display read so that the coldest of all links has passed?"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kit.cook.cooked import CAUTION, checked, first_reached
from kit.cook.link import Link
from kit.cook.march import march, modes
from kit.cook.stages import Stage, Usual, coefficient
from kit.errors import need_between
from kit.faults import need_said
from kit.tables import value
from kit.working import Result, notes_of, working_of


@dataclass(frozen=True)
class OneProbe(Result):
    """The display reading at which the coldest of `links` has reached `target_C` in `confidence_pct` of all batches."""

    target_C: float
    links: int
    confidence_pct: float
    display_C: float | None
    """None when no reading will do, because some links never reach the target in this schedule"""
    display_sd_C: float
    """Monte-Carlo error of display_C, by bootstrap"""
    passes_at_target_pct: float
    """share of batches whose coldest link has passed when the display first shows the target itself; nan if it never does"""
    coldest_at_target_C: tuple[float, float, float]
    """coldest core when the display first shows the target: 5, 50 and 95 of 100 batches (nan if the display never shows it)"""
    never_pct: float
    """share of single links that never reach the target within the schedule"""
    readings_C: np.ndarray
    """what the display shows when the coldest link passes, one entry per batch; inf if never"""

    @property
    def margin_K(self) -> float | None:
        return None if self.display_C is None else self.display_C - self.target_C


def one_probe(
    link: Link,
    schedule: Sequence[Stage],
    target_C: float = 70.0,
    *,
    links: int = 100,
    confidence_pct: float = 95.0,
    diameter_sd_mm: float | None = None,
    start_sd_K: float | None = None,
    h_sd_fraction: float | None = None,
    depth_sd_mm: float | None = None,
    display_sd_K: float | None = None,
    pool: int = 1000,
    batches: int = 1000,
    seed: int = 1,
) -> OneProbe:
    """What the display of one probe must read, so that the coldest link of a batch is at the target.

    link: the planned Link
    schedule: its Stages
    target_C: core temperature of the coldest link, above the start, at most 120 °C
    links: links in a batch, 1 to 1,000,000
    confidence_pct: share of batches in which it holds, 50 to 99.9 %
    diameter_sd_mm: between links, 0 to 10 mm; the usual value where left out
    start_sd_K: of the start temperature, 0 to 15 K; the usual value where left out
    h_sd_fraction: of the heat transfer coefficient by place, 0 to 1; the usual value where left out
    depth_sd_mm: by which the probe misses the axis, 0 to 20 mm; the usual value where left out
    display_sd_K: of the display, 0 to 10 K; the usual value where left out
    pool: simulated links, 100 to 20,000
    batches: simulated batches, 100 to 10,000
    seed: of the random numbers
    Returns OneProbe: the reading to wait for, and what the coldest core is then.
    Raises OutOfRange for impossible spreads and a target below the start.
    Valid for the scatter that is put in: use your own. It is a teaching answer and no process limit.
    Source: Monte Carlo on `cook`; data/reference/cook.csv.
    """
    stages = checked(schedule)
    remedy = "it must lie above the start temperature"
    target = need_between("core target", target_C, float(link.start_C) + 1e-6, 120, remedy)
    count = int(need_between("links", links, 1, 1_000_000))
    sure = need_between("confidence", confidence_pct, 50, 99.9)
    need_said(100 <= pool <= 20_000 and 100 <= batches <= 10_000, "pool of links")
    usual = Usual()
    diameter_sd = usual("diameter sd", diameter_sd_mm, "cook_diameter_sd", 0, 10)
    start_sd = usual("start sd", start_sd_K, "cook_start_sd", 0, 15)
    h_spread = usual("h spread", h_sd_fraction, "cook_h_spread", 0, 1)
    depth_sd = usual("depth sd", depth_sd_mm, "cook_depth_sd", 0, 20)
    display_sd = usual("display sd", display_sd_K, "cook_display_sd", 0, 10)
    rng = np.random.default_rng(seed)
    D = link.diameter_mm
    diameter = np.clip(rng.normal(D, diameter_sd, pool), 0.5 * D, 1.5 * D)
    start = np.clip(rng.normal(link.start_C, start_sd, pool), -1.5, 90)
    factor, place = np.exp(rng.normal(0, h_spread, pool)), rng.standard_normal(pool)
    miss = np.hypot(*rng.normal(0, depth_sd, (2, pool))) / (diameter / 2)
    cloud = replace(link, diameter_mm=diameter, start_C=start)
    spread = tuple(_placed(stage, link, factor, place) for stage in stages)
    at = modes().at(np.minimum(miss, 1.0))
    run = march(cloud, spread, places=(0.0,), place_weights=at, rng=rng)
    minutes, core = run.seconds / 60, run.probes_C[:, 0]
    probe = np.maximum.accumulate(run.probes_C[:, 1], axis=0)
    reach = first_reached(minutes, core, target)
    # the slowest of `count` drawn with replacement
    drawn = rng.random(batches) ** (1 / count)
    slowest = np.quantile(reach, drawn, method="inverted_cdf")
    probed, error = rng.integers(0, pool, batches), rng.normal(0, display_sd, batches)
    # the probed link is one of the batch: where it is the slowest itself, it sets the time
    slowest = np.maximum(slowest, reach[probed])
    readings = np.where(np.isfinite(slowest), _at(minutes, probe, probed, slowest) + error, np.inf)
    # `probe` is the highest reading so far: the cook stops the first time the display gets there
    display = float(np.quantile(readings, sure / 100, method="higher"))
    resampled = readings[rng.integers(0, batches, (200, batches))]
    again = np.quantile(resampled, sure / 100, axis=1, method="higher")
    shows = first_reached(minutes, probe[:, probed] + error, target)
    stopped = np.isfinite(shows)
    in_time = 100 * np.mean(slowest[stopped] <= shows[stopped]) if stopped.any() else np.nan
    coldest = _coldest(minutes, core, shows, count, rng)
    finite = np.isfinite(display)
    notes = notes_of("one probe", {"few simulated": count > pool / 3}, links=count, pool=pool)
    q = int(np.sum(readings <= display)) if finite else int(np.isfinite(readings).sum())
    known = {"q": q, "n": batches, "share": 100 * q / batches, "Td": display, "T": target}
    passed = "has passed at this reading" if finite else "ever passes"
    margin = display - target if finite else None
    steps = working_of("one probe", passed=passed, margin=margin, **known)
    return OneProbe(
        target_C=target,
        links=count,
        confidence_pct=sure,
        display_C=display if finite else None,
        display_sd_C=float(np.std(again)) if finite and np.isfinite(again).all() else float("nan"),
        passes_at_target_pct=float(in_time),
        coldest_at_target_C=coldest,
        never_pct=float(100 * np.mean(~np.isfinite(reach))),
        readings_C=readings,
        own_notes=(*link.notes, *notes, CAUTION),
        own_sources=_sources(usual, stages, link),
        own_working=steps,
    )


def _sources(usual: Usual, stages, link) -> tuple[str, ...]:
    if any(stage.spread_K == value("cook_house_spread") for stage in stages):
        usual.of("cook_house_spread")
    of_stages = (source for stage in stages for source in stage.sources)
    return tuple(dict.fromkeys((*usual.sources, *of_stages, *link.sources)))


def _placed(stage: Stage, link: Link, factor, place) -> Stage:
    """The stage as each link of the cloud meets it: one place has its own air and coefficient throughout."""
    typical = (link.start_C + stage.medium_C) / 2
    h = float(coefficient(stage, link.diameter_mm, typical))
    return replace(stage, h_W_per_m2K=h * factor, medium_C=stage.medium_C + stage.spread_K * place)


def _at(minutes, traces, which, when):
    """Column which[j] of traces at time when[j], straight between rows; times past the end give the last row."""
    when = np.minimum(when, minutes[-1])
    row = np.searchsorted(minutes, when).clip(1, len(minutes) - 1)
    share = (when - minutes[row - 1]) / (minutes[row] - minutes[row - 1])
    low = traces[row - 1, which]
    return low + share * (traces[row, which] - low)


def _coldest(minutes, core, shows, count, rng):
    """Quantiles over batches of the coldest of `count` cores when the display first shows the target."""
    times = shows[np.isfinite(shows)]
    if not times.size:
        return (float("nan"),) * 3
    ordered = np.sort(core, axis=1)
    size = core.shape[1]
    lowest = 1 - rng.random(times.size) ** (1 / count)
    rank = np.minimum((lowest * size).astype(int), size - 1)
    row = np.searchsorted(minutes, times).clip(0, len(minutes) - 1)
    return tuple(float(v) for v in np.quantile(ordered[row, rank], (0.05, 0.5, 0.95)))
