"""How long was this trace at or above a temperature, and how long did it take to cool? Between two readings a straight line is taken."""

from dataclasses import dataclass, replace

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
        return replace(self, time_s=times, temperature_C=temps, gap=self.gap[first:last])

    def lowered(self, kelvin: float) -> "Trace":
        """The same record if the probe reads `kelvin` too high."""
        return replace(self, temperature_C=self.temperature_C - kelvin)


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
    row = np.arange(1, len(known) + 1) if rows is None else np.asarray(rows, int)
    t, temp, row = t[known], temp[known], row[known]
    faults = []
    if len(t) < 2:
        faults.append(Fault(f"holds {len(t)} readings", remedy="a record needs at least two"))
    back = np.flatnonzero(np.diff(t) <= 0)
    if back.size:
        i = int(back[0])
        what = f"{back.size} times do not rise, first {t[i + 1]:g} s after {t[i]:g} s"
        remedy = "sort the log, or take the double stamps out"
        faults.append(Fault(what, row=int(row[i + 1]), remedy=remedy))
    coldest = value("lethality_coldest_C")
    warmest = value("lethality_warmest_C" if core else "log_warmest_C")
    kind, more = "smokehouse", ""
    if core:
        kind = "wet core at ambient pressure"
        more = ", and that the column is a core; a cook under pressure is not judged here"
    for wild, worst, limit in (
        (temp > warmest, temp.max(initial=warmest), f"above {warmest:g}"),
        (temp < coldest, temp.min(initial=coldest), f"below {coldest:g}"),
    ):
        if wild.any():
            what = f"{wild.sum()} of {len(temp)} readings are {limit} °C, up to {worst:g}: no {kind} shows that"
            celsius = f"{(worst - 32) / 1.8:.1f} °C"
            remedy = f"check the unit (if it was °F, {worst:g} is {celsius}), the probe{more}"
            faults.append(Fault(what, row=int(row[wild.argmax()]), remedy=remedy))
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


def stretches(time_s, temperature_C, limit_C: float, gap=None) -> tuple[np.ndarray, np.ndarray]:
    """(start, length) in seconds of every unbroken stay at or above `limit_C`, with straight lines between readings. Across a gap a stay is broken, and the gap is not counted.

    A single reading on or above the limit is a stay of zero seconds at least.
    """
    t, temp = np.asarray(time_s, float), np.asarray(temperature_C, float)
    above = temp >= limit_C
    broken = np.zeros(len(t) - 1, bool) if gap is None else np.asarray(gap, bool)
    begins = above & np.append(True, ~above[:-1] | broken)
    ends = above & np.append(~above[1:] | broken, True)
    places = ((np.flatnonzero(begins), -1), (np.flatnonzero(ends), 1))
    start_s, end_s = (_crossing(t, temp, at, way, broken, limit_C) for at, way in places)
    return start_s, end_s - start_s


def _crossing(t, temp, at, way, broken, limit) -> np.ndarray:
    """Time where the straight line to the neighbour outside meets the limit; the reading itself at an edge or a gap."""
    n = len(t)
    other = np.clip(at + way, 0, n - 1)
    inner, outer = temp[at], temp[other]
    usable = (other != at) & (outer < limit) & ~broken[np.minimum(at, other).clip(0, n - 2)]
    share = np.where(usable, (inner - limit) / np.where(usable, inner - outer, 1), 0)
    return t[at] + share * (t[other] - t[at])


def cooling(
    time_s, temperature_C, start_C: float | None, end_C: float
) -> tuple[float, float, float]:
    """From first falling below `start_C` (None: from the peak) to last leaving `end_C`. After the peak only.

    Returns the second it began, the seconds it took, and the seconds so far; nan where the record does not show it: the trace never was
    at `start_C` (above `end_C`), or ends before it is below `end_C` for good.
    """
    t, temp = np.asarray(time_s, float), np.asarray(temperature_C, float)
    peak = int(temp.argmax())
    t, temp = t[peak:], temp[peak:]
    began = ended = float("nan")
    if start_C is None:
        if temp[0] > end_C:
            began = float(t[0])
    elif temp[0] >= start_C > temp.min():
        began = _falls_through(t, temp, int((temp < start_C).argmax()) - 1, start_C)
    warm = np.flatnonzero(temp > end_C)
    if warm.size and warm[-1] < len(t) - 1:
        ended = _falls_through(t, temp, int(warm[-1]), end_C)
    return began, ended - began, float(t[-1]) - began


def _falls_through(t, temp, i: int, level: float) -> float:
    """When the line from reading `i` to the next meets a level between them."""
    return float(t[i] + (temp[i] - level) / (temp[i] - temp[i + 1]) * (t[i + 1] - t[i]))
