"""Which measurement would separate the causes most, for its minutes?"""

from collections.abc import Sequence

import numpy as np


def entropy_bits(shares, axis: int = -1):
    """−Σ p log2 p."""
    p = np.asarray(shares, dtype=float)
    return -np.sum(p * np.log2(np.where(p > 0, p, 1.0)), axis=axis)


def outcomes(class_shares: Sequence[np.ndarray]) -> np.ndarray:
    """(causes, outcomes): every combination of classes of a job's readings, taken as independent once the cause is fixed."""
    joint = class_shares[0]
    for shares in class_shares[1:]:
        joint = (joint[:, :, None] * shares[:, None, :]).reshape(len(joint), -1)
    return joint


def information_bits(
    weights: np.ndarray, class_shares: Sequence[np.ndarray]
) -> tuple[float, float, float]:
    """(before, after, gained): doubt about the cause now, expected after the job, and their difference. Never negative.

    `weights` (causes,) need not add up to 1; `class_shares` is one (causes, 3) array per reading of the job.
    """
    prior = weights / weights.sum()
    joint = prior[:, None] * outcomes(class_shares)
    total = joint.sum(axis=0)
    before = float(entropy_bits(prior))
    after = float(entropy_bits(joint, axis=None) - entropy_bits(total))
    return before, after, max(before - after, 0.0)
