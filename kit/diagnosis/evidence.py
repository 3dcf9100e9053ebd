"""Plain values become evidence, and what would more of it tell? Classes of readings; information."""

from collections.abc import Iterable, Mapping, Sequence

import numpy as np

from kit.diagnosis.catalogue import Catalogue, Reading, named
from kit.emulsion import FAT_KINDS
from kit.emulsion.parameters import defaults
from kit.errors import UnknownName, need_between, need_known
from kit.faults import need_said


def above_best_K(end_C: float, fat_kind: str = "pork back") -> float:
    """Deviation from the best final chopping temperature of its fat (K), as the reading `end_over_best_K` wants it."""
    need_known("fat kind", fat_kind, FAT_KINDS)
    return (
        need_between("final chopping temperature, °C", end_C, -10, 60)
        - defaults().fats[fat_kind].best_end_C
    )


def seen(names, book: Catalogue) -> tuple[str, ...]:
    """Keys of symptoms given by key or name; one or many."""
    given = (names,) if isinstance(names, str) else tuple(names)
    keys = tuple(named("symptom", name, book.symptoms).key for name in given)
    need_said(len(set(keys)) == len(keys), "symptom twice", keys=", ".join(keys))
    return keys


def classed(given: Mapping | None, book: Catalogue) -> dict[str, tuple[int, float | None]]:
    """{reading key: (class, value)}. A value is a number, several readings of the same thing (their mean counts, once), or a class word."""
    found: dict[str, tuple[int, float | None]] = {}
    for name, value in dict(given or {}).items():
        reading = named("reading", name, book.readings)
        need_said(reading.key not in found, "reading twice", reading=reading)
        read = _word if isinstance(value, str) else _value
        found[reading.key] = read(reading, value)
    return found


def _word(reading: Reading, word: str) -> tuple[int, None]:
    words = [w.casefold() for w in reading.words]
    if not word.strip() or word.casefold().strip() not in words:
        raise UnknownName(f"word for {reading.name}", word, [w for w in reading.words if w])
    return words.index(word.casefold().strip()), None


def _value(reading: Reading, value) -> tuple[int, float]:
    many = tuple(value) if isinstance(value, Iterable) else (value,)
    need_said(bool(many), "no value given", reading=reading)
    name, remedy = f"{reading.name} ({reading.unit})", "check unit and basis"
    held = [need_between(name, each, reading.lowest, reading.highest, remedy) for each in many]
    mean = float(np.mean(held))
    return int(reading.class_of(mean)), mean


def information_bits(
    weights: np.ndarray, class_shares: Sequence[np.ndarray]
) -> tuple[float, float, float]:
    """(before, after, gained) bits of uncertainty about the cause; gained is never negative.

    weights: one for each cause; they need not add up to 1.
    class_shares: for each reading of the job a (causes, 3) array of the share of batches in each
    class; readings are independent once the cause is fixed.
    """
    prior = weights / weights.sum()
    results = class_shares[0]
    for shares in class_shares[1:]:
        results = (results[:, :, None] * shares[:, None, :]).reshape(len(results), -1)
    joint = prior[:, None] * results
    before = _entropy_bits(prior)
    after = _entropy_bits(joint) - _entropy_bits(joint.sum(axis=0))
    return before, after, max(before - after, 0.0)


def _entropy_bits(shares: np.ndarray) -> float:
    """−Σ p log2 p."""
    return float(-np.sum(shares * np.log2(np.where(shares > 0, shares, 1.0))))
