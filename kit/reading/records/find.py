"""What looks wrong although every cell can be read? Duplicates, swapped weights, growth, slips of unit: named with evidence, never repaired."""

from collections.abc import Collection, Iterator

import numpy as np

from kit.reading.records.finding import (
    DUPLICATE,
    MANY_DAYS,
    SAME_WEIGHTS,
    WEIGHED_TWICE,
    RecordFinding,
)
from kit.reading.records.gains import growth_of, swaps_of
from kit.reading.records.summary import Summary
from kit.reading.records.unit_slips import slips_of
from kit.tables import value
from kit.working import figure

_TWO_UNDER_ONE = "look for two batches under one name"


def find(s: Summary, incomplete: Collection[str] = ()) -> tuple[RecordFinding, ...]:
    """All findings, duplicates first; growth is not told of `incomplete` batches, which lost a row."""
    if not len(s.batches):
        return ()
    found = [*_duplicates(s), *_alike(s), *_long(s)]
    doubled = {finding.batch for finding in found if finding.kind == DUPLICATE}
    slips, slipped = slips_of(s, np.array([batch in doubled for batch in s.batches]))
    swaps, swapped = swaps_of(s, slipped)
    lost = np.array([batch in incomplete for batch in s.batches])[:, None]
    return (*found, *slips, *swaps, *growth_of(s, slipped | swapped | lost))


def _duplicates(s: Summary) -> Iterator[RecordFinding]:
    by_batch = dict(list(s.repeats.groupby("batch", sort=False))) if len(s.repeats) else {}
    held, every = s.count > 0, len(s.batches) >= value("records_usual_batches")
    typical = np.array([np.median(column[column > 0]) for column in s.count.T])
    often = np.where(held, s.count >= 2 * typical, True).all(axis=1)
    doubled = s.batches[often & (held.sum(axis=1) >= 2) & every]
    place = {batch: n for n, batch in enumerate(s.batches)}
    for batch in dict.fromkeys((*by_batch, *doubled)):
        n, group = place[batch], by_batch.get(batch)
        keys, cells, rows = int(held[n].sum()), 0, s.row[n][held[n]]
        if group is not None:
            cells = len(set(zip(group["stage"], group["kind"])))
            rows = sorted({*group["first_row"], *group["last_row"]})
        rows = tuple(int(row) for row in rows[:6])
        if group is not None and cells == keys:
            what = (
                f"each of its {keys} weights stands {_times(group['count'].min())} in the records"
            )
            remedy = "strike one out; until then the sums count it more than once"
            yield RecordFinding(DUPLICATE, batch, "", what, remedy, rows)
        elif batch in doubled:
            what = (
                f"each of its {keys} kinds of weight was weighed at least twice as often as in other "
                f"batches: {s.count[n][held[n]].sum()} weighings"
            )
            yield RecordFinding(DUPLICATE, batch, "", what, _TWO_UNDER_ONE, rows)
        elif group is not None:
            yield from (_twice(batch, entry) for entry in group.itertuples())


def _twice(batch: str, entry) -> RecordFinding:
    """A single weight that stands there more than once."""
    named, times = f" ({entry.name})" if entry.name else "", _times(entry.count)
    what = f"{entry.stage} {entry.kind}{named} is filled in {times}"
    if not entry.fixed:
        what = (
            f"{figure(entry.kg)} kg {entry.kind} at {entry.stage}{named} stands {times}, "
            "with nothing (name, lot, time) to tell them apart"
        )
    remedy = "strike one out, or name the parts (cart 1, cart 2)"
    rows = (int(entry.first_row), int(entry.last_row))
    return RecordFinding(WEIGHED_TWICE, batch, entry.stage, what, remedy, rows)


def _times(count: int) -> str:
    return {2: "twice", 3: "three times"}.get(int(count), f"{int(count)} times")


def _alike(s: Summary) -> Iterator[RecordFinding]:
    """Batches of different names whose weights are all the same, at least three of them."""
    first: dict[bytes, int] = {}
    kg = np.nan_to_num(s.kg, nan=-1.0) + 0.0
    for n in np.flatnonzero((s.count > 0).sum(axis=1) >= 3):
        other = first.setdefault(kg[n].tobytes(), int(n))
        if other != n:
            weights = int((s.count[n] > 0).sum())
            what = f"all {weights} weights are those of batch {s.batches[other]}"
            rows = tuple(int(s.row[at][s.count[at] > 0][0]) for at in (other, n))
            remedy = "look for a batch copied under a new name"
            yield RecordFinding(SAME_WEIGHTS, str(s.batches[n]), "", what, remedy, rows)


def _long(s: Summary) -> Iterator[RecordFinding]:
    first, last = (s.per_batch[end].to_numpy().astype("datetime64[s]") for end in ("first", "last"))
    days = np.where(np.isnat(first), 0, (last - first).astype(float) / 86_400)
    for n in np.flatnonzero(days > value("records_longest_days")):
        what = f"{days[n]:.1f} days lie between its first weighing and its last"
        rows = (int(s.row[n][s.count[n] > 0][0]),)
        remedy = f"{_TWO_UNDER_ONE}, or a wrong date"
        yield RecordFinding(MANY_DAYS, str(s.batches[n]), "", what, remedy, rows)
