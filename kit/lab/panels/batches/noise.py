"""Batches in which nothing is wrong beside the same with a lasting step: what does noise look like?"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit import units
from kit.batches.change import Changes, change_points
from kit.batches.findings import odds
from kit.lab.charts.batches import over_time as charts
from kit.lab.panels.batches.pieces import minus, table, view
from kit.lab.panels.panel import Choice, Panel, Slider, Switch, View
from kit.reading.plant import demo_analysis

SIZES, COUNTS, SEEDS = (0.5, 1.0, 2.0, 3.0, 4.0), (20, 40, 80, 120, 200), tuple(range(1, 21))
STAGE = "stuff"
"""the stage of the demo records whose scatter turns standard deviations into kilograms"""
NEAR = 5
"""batches between a planted step and a level found that still count as one"""


@dataclass(frozen=True, eq=False)
class Pair:
    """Losses in standard deviations: quiet, and with a lasting step from batch `start` (0-based)."""

    start: int
    quiet_z: np.ndarray
    moved_z: np.ndarray
    quiet_found: Changes
    moved_found: Changes

    @property
    def seen(self) -> bool:
        return any(abs(k - self.start) <= NEAR for k in self.moved_found.starts)


@lru_cache(maxsize=64)
def pair_of(n: int, size: float, seed: int) -> Pair:
    rng = np.random.default_rng(seed)
    start = int(rng.integers(n // 4, 3 * n // 4))
    quiet = rng.normal(size=n)
    moved = quiet + size * (np.arange(n) >= start)
    return Pair(start, quiet, moved, change_points(quiet), change_points(moved))


def noise_panel() -> Panel:
    """Two invented series from one seed: batches judged one by one, and all of them together."""
    sizes = tuple((f"{s:g} standard deviation{'' if s == 1 else 's'}", s) for s in SIZES)
    controls = (
        Choice("size", "Step planted on the right", sizes, 2.0, "The batches"),
        Choice("n", "Batches", COUNTS, 80, "The batches"),
        Choice("seed", "Seed", SEEDS, 4, "The batches"),
        Slider("beyond", "Called bad beyond, sigma", "", 1, 5, 0.1, 3, "What is shown"),
        Switch("truth", "Show which batches were touched", False, "What is shown"),
    )
    return Panel(
        "Noise, or a cause?",
        controls,
        lambda values: pair_of(values["n"], values["size"], values["seed"]),
        noise_view,
        lambda system: {
            "quiet": charts.plant_chart("Nothing is wrong", "rings: beyond your line"),
            "moved": charts.plant_chart("With a lasting step", "grey, if asked: touched batches"),
        },
        {
            "Judge by a single bad batch": {"beyond": 2},
            "Too few batches": {"n": 20, "size": 1.0},
            "A step of four": {"size": 4.0},
        },
    )


def noise_view(pair: Pair, values, system: str) -> View:
    beyond, n = values["beyond"], len(pair.quiet_z)
    after, called = n - pair.start, np.abs(pair.moved_z) > beyond
    false, hit = int((np.abs(pair.quiet_z) > beyond).sum()), int(called[pair.start :].sum())
    verdict = "sees" if pair.seen else "does not see"
    sentence = (
        f"Your line calls {false} of {n} batches bad where nothing is wrong, and {hit} of the "
        f"{after} that the step touches. The search over all batches {verdict} the step."
    )
    if pair.quiet_found.starts:
        sentence += " It names a false level where nothing is wrong too."
    weighed = demo_analysis()
    points = weighed.analysis.line(STAGE).changes.sigma
    went_in = float(np.nanmean(weighed.table.all_in_kg[:, weighed.table.place(STAGE)]))
    scatter = units.show(points / 100 * went_in, "kg", system, 2)
    early, quiet = int(called[: pair.start].sum()), pair.quiet_found
    lines = (
        (
            f"{'✗ ' if false or quiet.starts else ''}nothing is wrong",
            f"{false} of {n}, every one a false call" if false else "none",
            _searched(quiet),
        ),
        (
            f"{'' if pair.seen else '✗ '}with a step",
            f"{hit} of {after} touched; {early} of {pair.start} others, false calls",
            _searched(pair.moved_found),
        ),
        (
            f"one standard deviation at {STAGE} in the demo records",
            f"{points:.2f} points, {scatter}",
            "normal batch-to-batch variation",
        ),
    )
    columns = ("batches", "called bad, batch by batch", "found by the search over all batches")
    touched = range(pair.start, n) if values["truth"] else ()
    return view(
        sentence,
        {
            "quiet": charts.plant_data(pair.quiet_z, beyond),
            "moved": charts.plant_data(pair.moved_z, beyond, touched),
        },
        {
            "quiet": charts.plant_text(pair.quiet_z, beyond),
            "moved": charts.plant_text(pair.moved_z, beyond),
        },
        (table("Batch by batch, and all together", columns, lines),),
        (pair.moved_found,),
        ("Both series are invented, from the same seed.",),
    )


def _searched(found: Changes) -> str:
    levels = (
        f"a new level from batch {c.start + 1}, {c.shift:+.1f} standard deviations (noise does as well in {odds(c.p)})"
        for c in found.changes
    )
    return minus("; ".join(levels)) or "no new level"
