"""Is the time of a log in order, and which of its readings can be true?"""

import numpy as np

from kit.logs import Issue
from kit.reading.logs.clock import DAY_S, HALF_DAY_S
from kit.reading.logs.parts import ChannelGroup
from kit.reading.logs.table import LogTable, ask
from kit.tables import value

_HOPPING_K, _SWITCH_K, _SCATTER_FROM = 15.0, 2.0, 20_000


def in_order(
    table: LogTable, part: ChannelGroup
) -> tuple[np.ndarray, np.ndarray, list[Issue], list[str]]:
    """Seconds of the part's clock, the rows of the table in that order, issues and what was understood."""
    issues: list[Issue] = []
    said: list[str] = []
    clock = part.clock
    seconds, order = clock.seconds, part.rows
    known = np.isfinite(seconds[order])
    if not known.all():
        issues.append(Issue("no time", table.row[order[~known]]))
        order = order[known]
    if order.size < 2:
        raise ask(
            table,
            f"only {order.size} rows of {' and '.join(part.names)} have a readable time",
            "check how the time is written; say time='...' if need be",
        )
    steps = np.diff(seconds[order])
    if (steps < 0).sum() > 0.5 * steps.size:
        order = order[::-1]
        said.append("newest reading first in the file; turned round")
    t = seconds[order].copy()
    if clock.colons and not clock.dated:
        over = np.flatnonzero(np.diff(t) < -HALF_DAY_S) + 1
        if over.size:
            days = np.zeros(t.size)
            days[over] = DAY_S
            t = t + np.cumsum(days)
            issues.append(Issue("day rollover", table.row[order[over]]))
            said.append(f"the clock passes midnight {over.size} time{'s' if over.size > 1 else ''}")
    t, spread = _spread(t)
    if spread:
        said.append(
            "several readings share a stamp; spread evenly until the next one, so times are good to about one stamp"
        )
    back = t < np.maximum.accumulate(t)
    if back.any():
        if 100 * back.mean() > value("log_most_reversed_pct"):
            first = int(table.row[order[np.flatnonzero(back)[0]]])
            raise ask(
                table,
                f"time goes back in {int(back.sum())} of {t.size} rows",
                row=first,
                remedy="two logs in one file, or the clock was set? split the file there",
            )
        issues.append(Issue("reversed time", np.sort(table.row[order[back]])))
        t, order = t[~back], order[~back]
    again = np.concatenate([[False], np.diff(t) == 0])
    if again.any():
        issues.append(Issue("repeated time", np.sort(table.row[order[again]])))
        t, order = t[~again], order[~again]
    if t.size < 2:
        raise ask(table, "all rows have the same time", "a log needs at least two times")
    return t, order, issues, said


def _spread(t):
    """Readings that share a coarse stamp, spread evenly until the next stamp; only when at least half of the rows share one."""
    fresh = np.concatenate([[True], np.diff(t) != 0])
    starts = np.flatnonzero(fresh)
    if starts.size < 2 or fresh.mean() > 0.5 or (np.diff(t[starts]) <= 0).any():
        return t, False
    counts = np.diff(np.append(starts, t.size))
    spans = np.append(np.diff(t[starts]), np.median(np.diff(t[starts])))
    inside = np.arange(t.size) - np.repeat(starts, counts)
    return t + inside * np.repeat(spans / counts, counts), True


def judge(table: LogTable, seconds, temperature, row, names, own_clock: bool):
    """Usable mask and the issues of gaps, impossible readings and spikes."""
    issues: list[Issue] = []
    usable = np.isfinite(temperature)
    steps = np.diff(seconds)
    wide = np.flatnonzero(steps > value("log_gap_steps") * np.median(steps)) + 1
    if wide.size:
        longest = steps[wide - 1].max()
        issues.append(
            Issue(
                "gap",
                row[wide],
                ", ".join(names) if own_clock else "",
                f"the longest pause is {longest:g} s, against {np.median(steps):g} s as usual; "
                "nothing is filled in",
            )
        )
    for k, name in enumerate(names):
        x = temperature[:, k]
        wild = (x < value("log_coldest_C")) | (x > value("log_warmest_C"))
        usable[wild, k] = False
        spikes = _spikes(np.where(usable[:, k], x, np.nan))
        usable[spikes, k] = False
        issues += [
            Issue(kind, row[mask], name)
            for kind, mask in (("impossible", wild), ("spike", spikes))
            if mask.any()
        ]
        if not usable[:, k].any():
            raise ask(
                table,
                "no usable reading in this channel",
                column=name,
                remedy="check the units and the column",
            )
    return usable, issues


def _spikes(x):
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
    limit = max(
        value("log_spike_K"),
        8 * value("sd_per_mad") * float(np.median(np.abs(typical - np.median(typical)))),
    )
    # A reading that far from the median of five has a step of half of it beside it or one further on: look only there.
    steep = np.flatnonzero(np.abs(np.diff(y)) > limit / 2)
    near = np.unique(np.clip(steep[:, None] + np.arange(-1, 3), 0, y.size - 1))
    spikes[good[near[away(near) > limit]]] = True
    return spikes


def need_one_unit(table: LogTable, x, row, name: str) -> None:
    """Faulty when the record jumps, and stays, as it would if °C turned to °F or back."""
    good = np.flatnonzero(np.isfinite(x))
    y = x[good]
    if y.size < 4:
        return
    a, b, after = y[:-2], y[1:-1], y[2:]
    jump = (np.abs(b - a) > _HOPPING_K) & (np.abs(after - b) < _HOPPING_K / 3)
    at = (
        np.flatnonzero(
            jump
            & ((np.abs(b - (1.8 * a + 32)) < _SWITCH_K) | (np.abs(a - (1.8 * b + 32)) < _SWITCH_K))
        )
        + 1
    )
    if at.size:
        raise ask(
            table,
            f"the readings jump from {y[at[0] - 1]:g} to {y[at[0]]:g} as if °C turned to °F there",
            column=name,
            row=int(row[good[at[0]]]),
            remedy="split the file at that row and say the unit of each part",
        )
