"""The invented plants of batch_plant.py, with two causes more: what the tests and the benchmark plant, and look for."""

from functools import partial

import batch_plant as invented
import numpy as np
from batch_plant import SCALES, Plant, Planted
from batch_plant import _start as drawn_start

from kit import tables


def _drifting(d, size, start):
    scale = str(d.rng.choice([s for s in SCALES if s in d.scales.values()]))
    k = drawn_start(d, start, 0.0, 0.5)
    sd = _boundary_sd(d, scale)
    ramp = np.maximum(np.arange(d.n) - k + 1, 0) / (d.n - k)
    # the mean over the batches touched is `size` deviations, so the end is twice that
    d.scale_error_pct[scale] = d.rng.choice([-1, 1]) * 2 * size * sd * ramp
    return Planted("drifting scale", "", k, scale=scale, size=size, touched=tuple(range(k, d.n)))


def _boundary_sd(d, scale) -> float:
    """Smallest scatter among the differences that this scale's error would move: a hand-over or a stage weighed on two scales."""
    weighing, found = tables.value("batches_sd_weighing_pct"), []
    stages = list(d.loss)
    for a, b in zip(stages, stages[1:]):
        if (d.scales[a, "out"] == scale) != (d.scales[b, "in"] == scale):
            found.append(2**0.5 * weighing)
    found += [
        d.sd[s] for s in stages if (d.scales[s, "in"] == scale) != (d.scales[s, "out"] == scale)
    ]
    return min(found)


def _slip(d, size, start):
    batch, stage, side = (
        int(d.rng.integers(0, d.n)),
        str(d.rng.choice(list(d.loss))),
        str(d.rng.choice(["in", "out"])),
    )
    factor = (1000 / tables.value("pound_g")) ** int(d.rng.choice([-1, 1]))
    d.slips.append((batch, stage, side, factor))
    return Planted("unit error", stage, batch=batch, size=float("inf"), touched=(batch,))


KINDS = (
    "leaking stuffer",
    "warm chop",
    "drifting scale",
    "humidity drop",
    "fatter supplier",
    "new operator",
    "unit error",
    "rework twice",
)
plant = partial(
    invented.plant,
    causes=invented.CAUSES | {"drifting scale": _drifting, "unit error": _slip},
)
"""`invented.plant` with every kind of KINDS"""


def plants(first_seed: int, count: int) -> list[Plant]:
    """`count` plants with seeds from `first_seed` on, every kind in turn: each single cause, nothing at all, two at once."""
    found = []
    for seed in range(first_seed, first_seed + count):
        turn = (seed - first_seed) % (len(KINDS) + 2)
        if turn < len(KINDS):
            kinds: tuple[str, ...] = (KINDS[turn],)
        elif turn == len(KINDS):
            kinds = ()
        else:
            kinds = tuple(np.random.default_rng([77, seed]).choice(KINDS, 2, replace=False))
        found.append(plant(seed, kinds))
    return found
