"""How long was this trace at or above a temperature, and how long did it take to cool? Between two readings a straight line is taken.

The functions take `time_s` (n,) and temperatures (n,) or (m, n), so that a cloud of m simulated links costs a few array operations.
"""

from dataclasses import dataclass

import numpy as np

from kit.errors import Fault, Faulty, need_between
from kit.tables import value


@dataclass(frozen=True, eq=False)
class Trace:
    """One channel: a probe in one link. `gap` marks the steps across which nothing is known (True at step i: between readings i and i + 1)."""

    name: str
    time_s: np.ndarray
    temperature_C: np.ndarray
    gap: np.ndarray
    notes: tuple[str, ...]

    @property
    def minutes(self) -> float:
        return float(self.time_s[-1] - self.time_s[0]) / 60

    @property
    def peak_C(self) -> float:
        return float(self.temperature_C.max())

    @property
    def peak_s(self) -> float:
        return float(self.time_s[self.temperature_C.argmax()])

    def above(self, level_C: float) -> "Trace":
        """From just before the first reading at or above a level to just after the last: all that stays at that level or higher can need. Whole if there is none."""
        at = np.flatnonzero(self.temperature_C >= level_C)
        if not at.size:
            return self
        first, last = max(int(at[0]) - 1, 0), min(int(at[-1]) + 1, len(self.time_s) - 1)
        kept = slice(first, last + 1)
        times, temps = self.time_s[kept], self.temperature_C[kept]
        return Trace(self.name, times, temps, self.gap[first:last], self.notes)

    def lowered(self, kelvin: float) -> "Trace":
        """The same record if the probe reads `kelvin` too high."""
        return Trace(self.name, self.time_s, self.temperature_C - kelvin, self.gap, self.notes)


def trace(
    name: str,
    time_s,
    temperature_C,
    longest_step_s: float | None = None,
    *,
    core: bool = True,
    rows=None,
) -> Trace:
    """A checked channel of a temperature log.

    name: of the channel
    time_s: of each reading, s, rising
    temperature_C: of each reading, °C, nan where there is none
    longest_step_s: longest silence that still counts as watched, s; five usual steps where left out
    core: False for the air of a smokehouse, which may be hotter than a wet core
    rows: each reading's row in its file, for the faults
    Returns Trace. Readings that are nan are left out and said.
    Raises Faulty with every fault: too few readings, times that do not rise, impossible °C.
    Source: bounds of data/reference/lethality.csv.
    """
    where = f"channel {name!r}"
    try:
        t, temp = np.asarray(time_s, float).ravel(), np.asarray(temperature_C, float).ravel()
    except (TypeError, ValueError) as cause:
        remedy = "read a file with kit.reading.logs, which names the rows"
        fault = Fault(f"holds something that is no number ({cause})", remedy=remedy)
        raise Faulty(where, [fault]) from None
    if len(t) != len(temp):
        counts = f"{len(t)} times against {len(temp)} temperatures"
        raise Faulty(where, [Fault(counts, remedy="give one time for each reading")])
    known = np.isfinite(temp) & np.isfinite(t)
    notes: tuple[str, ...] = ()
    if not known.all():
        notes = (f"{name}: readings without a number left out: {int((~known).sum())}",)
    at = np.flatnonzero(known)
    row = np.arange(1, len(known) + 1) if rows is None else np.asarray(rows, int)
    t, temp = t[known], temp[known]
    faults = []
    if len(t) < 2:
        faults.append(Fault(f"holds {len(t)} readings", remedy="a record needs at least two"))
    back = np.flatnonzero(np.diff(t) <= 0)
    faults += [
        Fault(
            f"time {t[i + 1]:g} s does not come after {t[i]:g} s",
            row=int(row[at[i + 1]]),
            remedy="sort the log, or take the double stamp out",
        )
        for i in back[:20]
    ]
    if len(back) > 20:
        faults.append(Fault(f"{len(back)} times in all do not rise", remedy="sort the log"))
    coldest = value("lethality_coldest_C")
    warmest = value("lethality_warmest_C" if core else "log_warmest_C")
    kind = "wet core at ambient pressure" if core else "smokehouse"
    more = ", and that the column is a core; a cook under pressure is not judged here"
    for wild, worst, limit in (
        (temp > warmest, temp.max(initial=warmest), f"above {warmest:g}"),
        (temp < coldest, temp.min(initial=coldest), f"below {coldest:g}"),
    ):
        if wild.any():
            celsius = f"{(worst - 32) / 1.8:.1f} °C"
            faults.append(
                Fault(
                    f"{wild.sum()} of {len(temp)} readings are {limit} °C, up to {worst:g}: no {kind} shows that",
                    row=int(row[at[wild.argmax()]]),
                    remedy=f"check the unit (if it was °F, {worst:g} is {celsius}), the probe"
                    + (more if core else ""),
                )
            )
    if faults:
        raise Faulty(where, faults)
    step = np.diff(t)
    if longest_step_s is None:
        longest_step_s = value("log_gap_steps") * np.median(step)
    gap = step > need_between("longest_step_s", longest_step_s, 0, 1e9)
    notes += tuple(
        f"{name}: nothing is known for {step[i] / 60:.1f} min from {t[i] / 60:.1f} min; no holding time is counted there"
        for i in np.flatnonzero(gap)[:10]
    )
    if gap.sum() > 10:
        notes += (f"{name}: {int(gap.sum())} gaps in all",)
    return Trace(name, t, temp, gap, notes)


@dataclass(frozen=True, eq=False)
class Stretches:
    """Unbroken times at or above a limit: `start_s`, `end_s`, and which trace each belongs to."""

    start_s: np.ndarray
    end_s: np.ndarray
    of: np.ndarray
    count: int

    @property
    def seconds(self) -> np.ndarray:
        return self.end_s - self.start_s

    def longest_s(self) -> np.ndarray:
        """Longest stretch of each trace; nan where it never got there."""
        out = np.full(self.count, -1.0)
        np.maximum.at(out, self.of, self.seconds)
        return np.where(out < 0, np.nan, out)

    def total_s(self) -> np.ndarray:
        return np.bincount(self.of, self.seconds, self.count)


def stretches(time_s, temperature_C, limit_C: float, gap=None) -> Stretches:
    """Every unbroken stay at or above `limit_C`, with straight lines between readings. Across a gap a stay is broken, and the gap is not counted.

    A single reading on or above the limit is a stay of zero seconds at least.
    """
    t, temp = np.asarray(time_s, float), np.atleast_2d(np.asarray(temperature_C, float))
    m, n = temp.shape
    above = temp >= limit_C
    broken = np.zeros(n - 1, bool) if gap is None else np.asarray(gap, bool)
    starts, ends = above.copy(), above.copy()
    starts[:, 1:] &= ~above[:, :-1] | broken
    ends[:, :-1] &= ~above[:, 1:] | broken
    (row, first), last = np.divmod(np.flatnonzero(starts), n), np.flatnonzero(ends) % n
    return Stretches(
        _crossing(t, temp, row, first, -1, broken, limit_C),
        _crossing(t, temp, row, last, 1, broken, limit_C),
        row,
        m,
    )


def _crossing(t, temp, row, at, way, broken, limit) -> np.ndarray:
    """Time where the straight line to the neighbour outside meets the limit; the reading itself at an edge or a gap."""
    n = temp.shape[1]
    other = np.clip(at + way, 0, n - 1)
    inner, outer = temp[row, at], temp[row, other]
    usable = (other != at) & (outer < limit) & ~broken[np.minimum(at, other).clip(0, n - 2)]
    share = np.where(usable, (inner - limit) / np.where(usable, inner - outer, 1), 0)
    return t[at] + share * (t[other] - t[at])


def longest_s(held: Trace, limit_C: float) -> float:
    """Longest unbroken stay of one trace; nan where it never got there."""
    return float(stretches(held.time_s, held.temperature_C, limit_C, held.gap).longest_s()[0])


def cooling(
    time_s, temperature_C, start_C: float | None, end_C: float
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """From first falling below `start_C` (None: from the peak) to last leaving `end_C`, for each trace (n,) or (m, n). After the peak only.

    Returns the second it began, the seconds it took, and the seconds so far, (m,) each; nan where the record does not show it: the trace never was
    at `start_C` (above `end_C`), or ends before it is below `end_C` for good.
    """
    t, temp = np.asarray(time_s, float), np.atleast_2d(np.asarray(temperature_C, float))
    m, n = temp.shape
    rows, peak = np.arange(m), temp.argmax(axis=1)
    after = np.arange(n) >= peak[:, None]
    if start_C is None:
        began = np.where(temp[rows, peak] > end_C, t[peak], np.nan)
    else:
        below = after & (temp < start_C)
        first = np.where(below.any(axis=1), below.argmax(axis=1), -1)
        began = np.where(
            (first > 0) & (temp[rows, peak] >= start_C),
            _between(t, temp, rows, first.clip(1) - 1, first.clip(1), start_C),
            np.nan,
        )
    warm = after & (temp > end_C)
    last = np.where(warm.any(axis=1), n - 1 - warm[:, ::-1].argmax(axis=1), -1)
    over = (last >= 0) & (last < n - 1)
    ended = np.where(
        over, _between(t, temp, rows, last.clip(0, n - 2), last.clip(0, n - 2) + 1, end_C), np.nan
    )
    return began, ended - began, t[-1] - began


def _between(t, temp, rows, i, j, level) -> np.ndarray:
    a, b = temp[rows, i], temp[rows, j]
    share = np.where(a != b, (a - level) / np.where(a != b, a - b, 1), 0).clip(0, 1)
    return t[i] + share * (t[j] - t[i])
