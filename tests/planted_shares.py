"""What the catalogue's readings show in many simulated batches with one fault."""

import numpy as np

from kit.diagnosis.catalogue import catalogue
from kit.diagnosis.planted import FATS, plant


def planted_shares(cause: str, count: int = 600, seed: int = 0) -> dict[str, np.ndarray]:
    """{reading key: share of batches of each class}, with noise of measurement, over all kinds of fat."""
    book, rng = catalogue(), np.random.default_rng(seed)
    many = [plant(cause, count // len(FATS), rng, kind) for kind in FATS]
    found = {}
    for key, reading in book.readings.items():
        values = np.concatenate([batches.truth[key] for batches in many])
        classes = reading.class_of(values + reading.noise_sd * rng.standard_normal(values.shape))
        found[key] = np.bincount(classes, minlength=3) / classes.size
    return found
