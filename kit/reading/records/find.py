"""What looks wrong although every cell can be read? Duplicates, swapped weights, growth, slips of unit: named with evidence, never repaired."""

from collections.abc import Collection

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


def find(s: Summary, incomplete: Collection[str] = ()) -> tuple[RecordFinding, ...]:
    """All findings, duplicates first. With fewer than `records_usual_batches` batches nothing is usual, and only duplicates and growth are told.

    Growth is not told of `incomplete` batches: they lost a row, which may be the addition, and the fault of that row says so.
    """
    if not len(s.batches):
        return ()
    found = [*_duplicates(s), *_alike(s), *_long(s)]
    doubled = {finding.batch for finding in found if finding.kind == DUPLICATE}
    slips, slipped = slips_of(s, np.array([batch in doubled for batch in s.batches]))
    swaps, swapped = swaps_of(s, slipped)
    lost = np.array([batch in incomplete for batch in s.batches])[:, None]
    return (*found, *slips, *swaps, *growth_of(s, slipped | swapped | lost))


def _duplicates(s: Summary):
    by_batch = dict(list(s.repeats.groupby("batch", sort=False))) if len(s.repeats) else {}
    place = {batch: n for n, batch in enumerate(s.batches)}
    typical = np.array([np.median(column[column > 0]) for column in s.count.T])
    held = s.count > 0
    doubled = (
        np.where(held, s.count >= 2 * typical, True).all(axis=1)
        & (held.sum(axis=1) >= 2)
        & (len(s.batches) >= value("records_usual_batches"))
    )
    for batch in dict.fromkeys((*by_batch, *s.batches[doubled])):
        n, group = place[batch], by_batch.get(batch)
        keys, cells, rows = int(held[n].sum()), 0, s.row[n][held[n]]
        if group is not None:
            cells = len(set(zip(group["stage"], group["kind"], strict=True)))
            rows = sorted({*group["first_row"], *group["last_row"]})
        rows = tuple(int(row) for row in rows[:6])
        if group is not None and cells == keys:
            what = f"each of its {keys} weights stands {_times(int(group['count'].min()))} in the records"
            remedy = "strike one out; until then the sums count it more than once"
            yield RecordFinding(DUPLICATE, batch, "", what, remedy, rows)
        elif doubled[n]:
            what = f"each of its {keys} kinds of weight was weighed at least twice as often as in other batches: {s.count[n][held[n]].sum()} weighings"
            yield RecordFinding(
                DUPLICATE, batch, "", what, "look for two batches under one name", rows
            )
        elif group is not None:
            yield from (_twice(batch, entry) for entry in group.itertuples())


def _twice(batch: str, entry) -> RecordFinding:
    """A single weight that stands there more than once."""
    named = f" ({entry.name})" if entry.name else ""
    what = f"{entry.stage} {entry.kind}{named} is filled in {_times(entry.count)}"
    if not entry.fixed:
        what = f"{figure(entry.kg)} kg {entry.kind} at {entry.stage}{named} stands {_times(entry.count)}, with nothing (name, lot, time) to tell them apart"
    remedy = "strike one out, or name the parts (cart 1, cart 2)"
    rows = (int(entry.first_row), int(entry.last_row))
    return RecordFinding(WEIGHED_TWICE, batch, entry.stage, what, remedy, rows)


def _times(count: int) -> str:
    return {2: "twice", 3: "three times"}.get(int(count), f"{int(count)} times")


def _alike(s: Summary):
    """Batches of different names whose weights are all the same, at least three of them."""
    enough = np.flatnonzero((s.count > 0).sum(axis=1) >= 3)
    if enough.size < 2:
        return
    whole = np.ascontiguousarray(np.nan_to_num(s.kg[enough], nan=-1.0) + 0.0)
    as_one = whole.view(np.dtype((np.void, whole.dtype.itemsize * whole.shape[1]))).ravel()
    _, first, inverse, counts = np.unique(
        as_one, return_index=True, return_inverse=True, return_counts=True
    )
    for again in np.flatnonzero((counts[inverse] > 1) & (np.arange(enough.size) != first[inverse])):
        n, other = enough[again], enough[first[inverse[again]]]
        weights = int((s.count[n] > 0).sum())
        yield RecordFinding(
            SAME_WEIGHTS,
            str(s.batches[n]),
            "",
            f"all {weights} weights are those of batch {s.batches[other]}",
            "look for a batch copied under a new name",
            (int(s.row[other][s.count[other] > 0][0]), int(s.row[n][s.count[n] > 0][0])),
        )


def _long(s: Summary):
    first, last = (s.per_batch[end].to_numpy().astype("datetime64[s]") for end in ("first", "last"))
    days = np.where(np.isnat(first), 0, (last - first).astype(float) / 86_400)
    for n in np.flatnonzero(days > value("records_longest_days")):
        yield RecordFinding(
            MANY_DAYS,
            str(s.batches[n]),
            "",
            f"{days[n]:.1f} days lie between its first weighing and its last",
            "look for two batches under one name, or a wrong date",
            (int(s.row[n][s.count[n] > 0][0]),),
        )
