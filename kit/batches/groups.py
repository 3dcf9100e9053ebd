"""Which batches are meant: a period, a run of batches, or all that share a label, in words that a person can type? In which parts are many searched?"""

import re
from collections.abc import Mapping
from math import ceil

import numpy as np

from kit import tables
from kit.batches.table import BatchTable
from kit.errors import OutOfRange, UnknownName

MOST_BATCHES = 2500
"""searched at once: 2000 take a quarter of a minute; more are searched by product and by period"""
FEW = 20
"""batches of a product below which it is searched together with other such products, where the file is searched in parts"""
_DAY = r"(\d{4}(?:-\d\d){0,2})"
_DATES = re.compile(rf"{_DAY}(?: to {_DAY})?")
_COUNTED = re.compile(r"batch(?:es)? (\d+) to (\d+)")


def members(table: BatchTable, said: str) -> np.ndarray:
    """(n,) which batches these words mean: 'smokehouse SH 2', '2026-01 to 2026-03', 'batches 1 to 60'. UnknownName offers what there is."""
    text = " ".join(said.split())
    dated, counted = _DATES.fullmatch(text), _COUNTED.fullmatch(text.casefold())
    if counted:
        first, last = map(int, counted.groups())
        return (np.arange(table.n) >= first - 1) & (np.arange(table.n) < last)
    if dated and table.dates is not None:
        try:
            start, end = (np.datetime64(one) for one in (dated[1], dated[2] or dated[1]))
        except ValueError as cause:
            raise OutOfRange(f"{text!r} holds no date of the calendar ({cause})") from None
        day = table.dates.astype("datetime64[D]")
        return (day >= start.astype("datetime64[D]")) & (day < (end + 1).astype("datetime64[D]"))
    named = {name.casefold(): mask for name, mask in _labelled(table.labels).items()}
    if text.casefold() not in named:
        raise UnknownName("group of batches", text, offered(table))
    return named[text.casefold()]


def offered(table: BatchTable) -> dict[str, int]:
    """{what `members` takes: how many batches that is}: halves, months, and each level of each label that has few; a single lot is taken all the same."""
    middle = table.n // 2
    found = {
        f"batches 1 to {middle}": middle,
        f"batches {middle + 1} to {table.n}": table.n - middle,
    }
    if table.dates is not None:
        months = table.dates.astype("datetime64[M]")
        names, count = np.unique(months[~np.isnat(months)].astype(str), return_counts=True)
        found |= dict(zip(names.tolist(), count.tolist()))
    most = tables.value("batches_label_levels")
    few = {name: v for name, v in table.labels.items() if len(np.unique(v)) <= most}
    return found | {k: int(v.sum()) for k, v in _labelled(few).items()}


def _labelled(labels: Mapping[str, np.ndarray]) -> dict[str, np.ndarray]:
    return {
        f"{label} {level}": values == level
        for label, values in labels.items()
        for level in np.unique(values)
        if level
    }


def parts_of(table: BatchTable) -> dict[str, np.ndarray]:
    """{what they are called: their rows}: all at once up to MOST_BATCHES (called ''), else by product, then in as few consecutive periods as fit."""
    if table.n <= MOST_BATCHES:
        return {"": np.arange(table.n)}
    names, count = np.unique(table.made, return_counts=True)
    alone = [k for k in np.argsort(-count) if names[k] and count[k] >= FEW]
    if 0 < table.n - count[alone].sum() < FEW:
        alone.pop()  # with those too few to be searched for themselves
    sets = {f"Product {names[k]}": table.made == names[k] for k in alone}
    rest = ~np.isin(table.made, names[alone])
    if rest.any():
        sets["All other products" if alone else "All products"] = rest
    found = {}
    for name, mine in sets.items():
        rows = np.flatnonzero(mine)
        for some in np.array_split(rows, ceil(len(rows) / MOST_BATCHES)):
            span = table.at(some).span.partition(", ")[2]
            found[f"{name}, {span or f'batches {some[0] + 1} to {some[-1] + 1}'}"] = some
    return found
