"""Is the time of a log in order, and which of its readings can be true?"""

import numpy as np

from kit.logs import Issue
from kit.reading.logs.clock import DAY_S, HALF_DAY_S
from kit.reading.logs.parts import ChannelGroup
from kit.reading.logs.table import LogTable
from kit.reading.words import note
from kit.tables import value

_HOPPING_K, _SWITCH_K, _SCATTER_FROM = 15.0, 2.0, 20_000


def put_in_order(table: LogTable, part: ChannelGroup, issues: list[Issue], said: list[str]) -> None:
    """The rows of the part in the order of its clock, with their seconds; adds issues and what was understood."""
    clock, order = part.clock, part.rows

    def left(kind: str, gone: np.ndarray) -> None:
        """Note the rows that are not used further."""
        if gone.any():
            issues.append(Issue(kind, np.sort(table.row[order[gone]])))

    lost = ~np.isfinite(clock.seconds[order])
    left("no time", lost)
    order = order[~lost]
    if order.size < 2:
        table.stop("few times", count=order.size, names=" and ".join(part.names))
    if np.mean(np.diff(clock.seconds[order]) < 0) > 0.5:
        order = order[::-1]
        said.append(note("newest first"))
    t = clock.seconds[order].copy()
    if clock.colons and not clock.dated:
        over = np.append(False, np.diff(t) < -HALF_DAY_S)
        if over.any():
            t = t + DAY_S * np.cumsum(over)
            issues.append(Issue("day rollover", table.row[order[over]]))
            times = f"{over.sum()} time{'s' if over.sum() > 1 else ''}"
            said.append(f"the clock passes midnight {times}")
    t, spread = _spread(t)
    if spread:
        said.append(note("shared stamps"))
    back = t < np.maximum.accumulate(t)
    if 100 * back.mean() > value("log_most_reversed_pct"):
        first = int(table.row[order[back][0]])
        table.stop("time goes back", row=first, count=int(back.sum()), rows=t.size)
    left("reversed time", back)
    t, order = t[~back], order[~back]
    again = np.append(False, np.diff(t) == 0)
    left("repeated time", again)
    t, order = t[~again], order[~again]
    if t.size < 2:
        table.stop("one time")
    part.seconds, part.rows = t, order


def _spread(t: np.ndarray) -> tuple[np.ndarray, bool]:
    """Readings that share a coarse stamp, spread evenly until the next stamp; only when at least half of the rows share one."""
    fresh = np.append(True, np.diff(t) != 0)
    starts = np.flatnonzero(fresh)
    if starts.size < 2 or fresh.mean() > 0.5 or (np.diff(t[starts]) <= 0).any():
        return t, False
    counts, gaps = np.diff(np.append(starts, t.size)), np.diff(t[starts])
    inside = np.arange(t.size) - np.repeat(starts, counts)
    return t + inside * np.repeat(np.append(gaps, np.median(gaps)) / counts, counts), True


def judge(table: LogTable, part: ChannelGroup, issues: list[Issue], own_clock: bool) -> None:
    """Which readings of the part are usable; adds the issues of gaps, impossible readings and spikes."""
    row, steps = table.row[part.rows], np.diff(part.seconds)
    part.usable = np.isfinite(part.degrees)
    usual = np.median(steps)
    wide = np.flatnonzero(steps > value("log_gap_steps") * usual)
    if wide.size:
        what = f"the longest pause is {steps[wide].max():g} s, against {usual:g} s as usual"
        whose = ", ".join(part.names) if own_clock else ""
        issues.append(Issue("gap", row[wide + 1], whose, f"{what}; nothing is filled in"))
    for name, x, usable in zip(part.names, part.degrees.T, part.usable.T):
        wild = (x < value("log_coldest_C")) | (x > value("log_warmest_C"))
        spikes = _spikes(np.where(usable & ~wild, x, np.nan))
        usable[wild | spikes] = False
        found = (("impossible", wild), ("spike", spikes))
        issues += [Issue(kind, row[mask], name) for kind, mask in found if mask.any()]
        if not usable.any():
            table.stop("nothing usable", name)


def _spikes(x: np.ndarray) -> np.ndarray:
    """Readings away from the median of five neighbours and back again; holes are stepped over."""
    good = np.flatnonzero(np.isfinite(x))
    spikes = np.zeros(x.size, dtype=bool)
    y = x[good]
    if y.size < 5:
        return spikes
    padded = np.lib.stride_tricks.sliding_window_view(np.pad(y, 2, mode="edge"), 5)

    def away(at):
        return np.abs(y[at] - np.median(padded[at], axis=1))

    typical = away(np.arange(0, y.size, max(y.size // _SCATTER_FROM, 1)))
    sd = value("sd_per_mad") * float(np.median(np.abs(typical - np.median(typical))))
    limit = max(value("log_spike_K"), 8 * sd)
    # A reading that far from the median of five has a step of half of it beside it or one further on: look only there.
    steep = np.flatnonzero(np.abs(np.diff(y)) > limit / 2)
    near = np.unique(np.clip(steep[:, None] + np.arange(-1, 3), 0, y.size - 1))
    spikes[good[near[away(near) > limit]]] = True
    return spikes


def need_one_unit(table: LogTable, part: ChannelGroup) -> None:
    """Faulty when a channel jumps, and stays, as it would if °C turned to °F or back."""
    for name, x in zip(part.names, part.degrees.T):
        good = np.flatnonzero(np.isfinite(x))
        y = x[good]
        a, b, after = y[:-2], y[1:-1], y[2:]
        jump = (np.abs(b - a) > _HOPPING_K) & (np.abs(after - b) < _HOPPING_K / 3)
        turned = np.minimum(np.abs(b - (1.8 * a + 32)), np.abs(a - (1.8 * b + 32))) < _SWITCH_K
        at = np.flatnonzero(jump & turned)
        if y.size >= 4 and at.size:
            n = at[0]
            row = int(table.row[part.rows[good[n + 1]]])
            table.stop("unit turned", name, row, before=a[n], after=b[n])
