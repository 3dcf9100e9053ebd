"""Invented plants with a planted cause, from a seed. Nothing here describes a real plant."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from plant import usual_loss_pct

from kit import tables
from kit.batches import BatchTable
from kit.errors import UnknownName, need
from kit.stages import STAGES

SCALES = {
    "door scale": ("receive", "thaw", "trim"),
    "floor scale": ("grind", "chop"),
    "rack scale": ("rest", "cook", "chill"),
    "pack scale": ("peel", "pack"),
}
FACTS = {
    "fat_pct": (24.0, 0.5),
    "water_pct": (56.0, 0.5),
    "binder_pct": (2.5, 0.1),
    "chop_end_C": (13.0, 0.6),
    "cook_C": (78.0, 1.0),
    "cook_end_C": (71.0, 0.5),
    "humidity_pct": (62.0, 2.0),
    "diameter_mm": (24.0, 0.3),
}
"""mean and scatter of what is written down beside the weights; they move nothing in a quiet plant"""
FEWEST = 6
"""batches that a planted cause touches, and that it leaves alone, at least (not for a unit error)"""


@dataclass(frozen=True)
class Planted:
    """The truth. `start` 0-based: the first batch touched; `who` (label, level); `size` in standard deviations of the stage."""

    kind: str
    stage: str
    start: int | None = None
    who: tuple[str, str] | None = None
    via: str | None = None
    scale: str | None = None
    batch: int | None = None
    size: float = 0.0
    step: bool = False
    """a lasting step of known start"""
    touched: tuple[int, ...] = ()
    """0-based batches whose figures it moves"""


@dataclass(frozen=True)
class Plant:
    table: BatchTable
    planted: tuple[Planted, ...]
    seed: int


@dataclass
class _Draft:
    """A plant while it is being drawn."""

    rng: np.random.Generator
    n: int
    loss: dict[str, np.ndarray]
    sd: dict[str, float]
    """standard deviation of each stage's loss as weighed, percentage points"""
    labels: dict[str, np.ndarray]
    facts: dict[str, np.ndarray]
    scale_error_pct: dict[str, np.ndarray]
    rework_pct: np.ndarray
    twice: np.ndarray
    slips: list[tuple[int, str, str, float]]
    scales: dict[tuple[str, str], str]


def scale_of(stage: str, side: str) -> str:
    """The stuffer is filled from the floor scale; its trees are hung on the rack scale."""
    if stage == "stuff":
        return "floor scale" if side == "in" else "rack scale"
    return next(scale for scale, stages in SCALES.items() if stage in stages)


def plant(
    seed: int,
    kinds: str | Sequence[str] = (),
    *,
    n: int | None = None,
    size: float | None = None,
    start: int | None = None,
    stages: Sequence[str] = tuple(STAGES)[:-1],  # a plant grills nothing
    lot_share: float = 0.0,
    causes: Mapping[str, Callable] | None = None,
) -> Plant:
    """n batches (20 to 200; drawn if None) with the named causes planted, each `size` standard deviations of its stage (2 to 4 if None).

    `start`: 0-based batch at which a cause begins (drawn if None). `lot_share`: share of the variance of thaw, trim and cook that batches of
    one lot have in common, so that neighbours resemble one another. Same seed and arguments, same plant. UnknownName for a kind not in `causes`.
    """
    kinds, causes = (kinds,) if isinstance(kinds, str) else tuple(kinds), causes or CAUSES
    for kind in kinds:
        if kind not in causes:
            raise UnknownName("cause to plant", kind, causes)
    rng = np.random.default_rng([20_260, seed])
    n = int(rng.integers(20, 201)) if n is None else int(n)
    need(n >= 3 * FEWEST, f"{n} batches; a plant with a cause needs at least {3 * FEWEST}")
    need(
        {"chop", "stuff", "cook"} <= set(stages),
        "a plant of this kind has at least chop, stuff and cook",
    )
    need(0 <= lot_share < 1, f"a lot share of {lot_share}; it lies from 0 up to, but below, 1")
    draft = _quiet(rng, n, tuple(stages), lot_share)
    planted = tuple(
        causes[kind](draft, float(rng.uniform(2, 4)) if size is None else float(size), start)
        for kind in kinds
    )
    return Plant(_weighed(draft, tuple(stages)), planted, seed)


def _quiet(rng, n, stages, lot_share) -> _Draft:
    usual = usual_loss_pct() | {
        stage: tables.value(f"batches_loss_{stage}_pct")
        for stage in ("receive", "stuff", "rest", "pack")
    }
    own = {
        stage: tables.value(f"batches_sd_{stage}_points") * rng.uniform(0.8, 1.25)
        for stage in stages
    }
    weighing = tables.value("batches_sd_weighing_pct")
    day = np.repeat(np.arange(n), rng.integers(2, 5, n))[:n]
    lot = np.repeat(np.arange(n), rng.integers(3, 6, n))[:n]
    # three houses only where each still sees enough batches
    cookers, suppliers = (
        int(rng.integers(2, 4 if n >= 36 else 3)),
        np.array(["supplier A", "supplier B"]),
    )
    labels = {
        "day": np.array([f"day {d + 1}" for d in day]),
        "lot": np.array([f"lot {k + 1}" for k in lot]),
        "supplier": suppliers[rng.integers(0, 2, n)][lot],
        "smokehouse": np.array(
            [f"smokehouse {c + 1}" for c in (np.arange(n) + rng.integers(0, 2, n)) % cookers]
        ),
        "operator": np.array(["first shift", "second shift", "third shift"])[
            (np.arange(n) // int(rng.integers(1, 4)) + rng.integers(0, 3)) % 3
        ],
    }
    facts = {name: mean + sd * rng.normal(size=n) for name, (mean, sd) in FACTS.items()}
    facts["water_pct"] = facts["water_pct"] - 0.8 * (facts["fat_pct"] - FACTS["fat_pct"][0])
    rework = np.where(rng.random(n) < 0.2, 0.0, rng.uniform(0.5, 1.5, n) * rng.uniform(1.5, 5.0))
    noise = {s: rng.normal(size=n) for s in stages}
    if lot_share:
        for s in [s for s in ("thaw", "trim", "cook") if s in stages]:
            noise[s] = (1 - lot_share) ** 0.5 * noise[s] + lot_share**0.5 * rng.normal(
                size=lot.max() + 1
            )[lot]
    return _Draft(
        rng,
        n,
        {s: np.maximum(usual[s] + own[s] * noise[s], 0.0) for s in stages},
        {s: float(np.hypot(own[s], 2**0.5 * weighing)) for s in stages},
        labels,
        facts,
        {},
        rework,
        np.zeros(n, bool),
        [],
        {(s, side): scale_of(s, side) for s in stages for side in ("in", "out")},
    )


def _start(d: _Draft, start, low=0.25, high=0.75) -> int:
    if start is not None:
        need(
            FEWEST <= start <= d.n - FEWEST,
            f"a cause from batch {start + 1} of {d.n}; it must leave {FEWEST} batches on both sides",
        )
        return int(start)
    return int(np.clip(d.rng.integers(int(low * d.n), int(high * d.n) + 1), FEWEST, d.n - FEWEST))


def _places(mask) -> tuple[int, ...]:
    return tuple(int(i) for i in np.flatnonzero(mask))


def _leaking(d, size, start):
    k = _start(d, start)
    d.loss["stuff"][k:] += size * d.sd["stuff"]
    return Planted(
        "leaking stuffer", "stuff", k, size=size, step=True, touched=tuple(range(k, d.n))
    )


def _warm(d, size, start):
    days, day = np.unique(d.labels["day"], return_inverse=True)
    share = d.rng.uniform(0.2, 0.4)
    for _ in range(200):
        warm = (d.rng.random(len(days)) < share)[day]
        if FEWEST <= warm.sum() <= d.n - FEWEST:
            break
    hotter = np.where(warm, 5.0 + 0.8 * d.rng.normal(size=d.n), 0.0)
    d.facts["chop_end_C"] += hotter
    d.loss["cook"] += size * d.sd["cook"] * hotter / 5.0
    return Planted("warm chop", "cook", via="chop_end_C", size=size, touched=_places(warm))


def _humidity(d, size, start):
    for _ in range(500):
        k, cooker = _start(d, start, 0.15), str(d.rng.choice(np.unique(d.labels["smokehouse"])))
        touched = (d.labels["smokehouse"] == cooker) & (np.arange(d.n) >= k)
        if touched.sum() >= FEWEST:
            break
    d.facts["humidity_pct"] -= np.where(touched, d.rng.uniform(8, 15), 0.0)
    d.loss["cook"] += np.where(touched, size * d.sd["cook"], 0.0)
    return Planted(
        "humidity drop",
        "cook",
        int(np.flatnonzero(touched)[0]),
        ("smokehouse", cooker),
        "humidity_pct",
        size=size,
        step=True,
        touched=_places(touched),
    )


def _fatter(d, size, start):
    _, lot = np.unique(d.labels["lot"], return_inverse=True)
    for _ in range(500):
        k = _start(d, start, 0.2, 0.6)
        new = (d.rng.random(lot.max() + 1) < d.rng.uniform(0.4, 0.7))[lot] & (np.arange(d.n) >= k)
        if FEWEST <= new.sum() <= d.n - FEWEST:
            break
    d.labels["supplier"] = np.where(new, "supplier C", d.labels["supplier"])
    more = np.where(new, 3.0 + 0.5 * d.rng.normal(size=d.n), 0.0)
    d.facts["fat_pct"] += more
    d.facts["water_pct"] -= 0.8 * more
    d.loss["cook"] += size * d.sd["cook"] * more / 3.0
    return Planted(
        "fatter supplier",
        "cook",
        int(np.flatnonzero(new)[0]),
        ("supplier", "supplier C"),
        "fat_pct",
        size=size,
        touched=_places(new),
    )


def _operator(d, size, start):
    stage = str(d.rng.choice([s for s in ("trim", "stuff", "peel", "pack") if s in d.loss]))
    for _ in range(500):
        k = _start(d, start, 0.2, 0.6)
        new = (d.rng.random(d.n) < d.rng.uniform(0.35, 0.7)) & (np.arange(d.n) >= k)
        if new.sum() >= FEWEST:
            break
    d.labels["operator"] = np.where(new, "newcomer", d.labels["operator"])
    d.loss[stage] += np.where(new, size * d.sd[stage], 0.0)
    return Planted(
        "new operator",
        stage,
        int(np.flatnonzero(new)[0]),
        ("operator", "newcomer"),
        size=size,
        touched=_places(new),
    )


def _twice(d, size, start):
    k = _start(d, start)
    d.twice = np.arange(d.n) >= k
    d.rework_pct = np.where(d.rework_pct > 0, np.maximum(d.rework_pct, size * d.sd["chop"]), 0.0)
    first = k + int(np.flatnonzero(d.rework_pct[k:] > 0)[0])
    return Planted(
        "rework twice",
        "chop",
        first,
        size=float(d.rework_pct[k:].mean() / d.sd["chop"]),
        step=True,
        touched=_places(d.twice & (d.rework_pct > 0)),
    )


CAUSES = {
    "leaking stuffer": _leaking,
    "warm chop": _warm,
    "humidity drop": _humidity,
    "fatter supplier": _fatter,
    "new operator": _operator,
    "rework twice": _twice,
}


def _weighed(d: _Draft, stages) -> BatchTable:
    """Follow the kilograms down the line, then weigh them."""
    rng, n = d.rng, d.n
    missing, noise = tables.value("batches_missing_pct"), tables.value("batches_sd_weighing_pct")
    kg = 400 * rng.uniform(0.9, 1.1, n)
    truth = {side: np.empty((n, len(stages))) for side in ("in", "out")}
    added, rework, rework_out = (np.zeros((n, len(stages))) for _ in range(3))
    for j, stage in enumerate(stages):
        if j:
            kg = kg * (1 - np.abs(missing * rng.normal(1, 0.3, n)) / 100)
        truth["in"][:, j] = kg
        if stage == "chop":
            added[:, j], rework[:, j] = 0.3 * kg, d.rework_pct / 100 * kg
        if stage == "stuff":
            rework_out[:, j] = (
                tables.value("yields_rework_stuff_pct") / 100 * kg * rng.uniform(0.5, 1.5, n)
            )
        kg = (kg + added[:, j] + rework[:, j]) * (1 - d.loss[stage] / 100) - rework_out[:, j]
        truth["out"][:, j] = kg
    shown = {}
    for side, true in truth.items():
        error = np.column_stack(
            [d.scale_error_pct.get(d.scales[stage, side], np.zeros(n)) for stage in stages]
        )
        shown[side] = true * (1 + (error + noise * rng.normal(size=true.shape)) / 100)
    chop = stages.index("chop")
    shown["in"][:, chop] += np.where(d.twice, rework[:, chop], 0.0)
    for batch, stage, side, factor in d.slips:
        shown[side][batch, stages.index(stage)] *= factor
    dates = np.datetime64("2024-01-08T06:00:00") + np.array(
        [int(text.split()[1]) for text in d.labels["day"]]
    ) * np.timedelta64(86400, "s")
    return BatchTable(
        tuple(f"batch {i + 1}" for i in range(n)),
        stages,
        shown["in"],
        shown["out"],
        added,
        rework,
        rework_out,
        dates=dates,
        labels={k: v for k, v in d.labels.items() if k != "day"} | {"day": d.labels["day"]},
        facts=d.facts,
        scales=d.scales,
    )
