"""From a file to a LogReading: says what it understood, asks what it cannot tell, drops nothing silently."""

import re

import numpy as np

from kit.errors import UnknownName, need, need_between
from kit.logs import Issue, LogReading
from kit.reading import cells
from kit.reading.columns import Table
from kit.reading.logs.clock import DAY_S, HALF_DAY_S, column_kind, counts_time, read_clock
from kit.reading.logs.parts import merged, on_one_axis, parts_of
from kit.reading.logs.table import ask, read_table, unnumbered
from kit.tables import value

UNITS = ("°C", "°F")
_UNIT_WORDS = {
    "°C": r"[°º] ?C\b|\bdeg\.? ?C\b|celsius|[\[(] ?C ?[\])]|(?:\btemp\w*|\bT|_)[ _.]*C$",
    "°F": r"[°º] ?F\b|\bdeg\.? ?F\b|fahrenheit|[\[(] ?F ?[\])]|(?:\btemp\w*|\bT|_)[ _.]*F$",
}
_TEMPERATURE = re.compile(
    r"temp|core|kern|probe|batter|meat|product|house|oven|smoke|\bair\b|water|dry.?bulb|wet.?bulb|sensor|f.hler|"
    r"channel|kanal|\bch ?\d|\bT\d*\b|\bT_",
    re.I,
)
_OTHER = re.compile(
    r"humid|\brh\b|feuchte|%|\brpm\b|speed|\bkw\b|power|amp|volt|batter(?:y|ie)|\bbar\b|pressure|weight|\bkg\b|"
    r"^no\.?$|^nr\.?$|#|index|record|count|^id$|^row$|lethality",
    re.I,
)
_ONLY_LABEL = re.compile(r"^\W*(channel|kanal|ch|\w+\W*(no|nr|number|id|name))\W*$", re.I)
_HOPPING_K, _SWITCH_K, _SCATTER_FROM = 15.0, 2.0, 20_000


def read_log(
    source,
    *,
    unit: str | None = None,
    time: str | None = None,
    decimal_comma: bool | None = None,
    day_first: bool | None = None,
    channels=None,
    time_column: str | None = None,
    sheet: str | None = None,
    months: str | None = None,
    year: int | None = None,
) -> LogReading:
    """Read a temperature log from a path, bytes, text with line breaks, or a DataFrame.

    Keywords answer what the file does not say: `unit` "°C" or "°F"; `time` "s", "min", "h", "ms", "days", "min:s" or "h:min";
    `decimal_comma`, `day_first`; `channels` and `time_column` by name; `months`, how the twelve names begin from January on; `year` of the first row. Raises Faulty with the question where it cannot tell.
    """
    if unit is not None and unit not in UNITS:
        raise UnknownName("temperature unit", unit, UNITS)
    names = None if months is None else [*re.findall(r"[^\W\d]+", months)]
    need(
        names is None or len(names) == 12,
        f"months names {len(names or ())}; give how the twelve begin, from January on, with blanks between",
    )
    if year is not None:
        year = int(
            need_between("year", year, 1970, 2200, "give the year of the first row in four digits")
        )
    answers = {
        "written": time,
        "day_first": day_first,
        "decimal_comma": decimal_comma,
        "months": names,
        "year": year,
    }
    table, preamble = read_table(source, sheet)
    texts = table.columns
    kinds = [column_kind(column) for column in texts]
    clock = read_clock(table, kinds, texts, column=time_column, **answers)
    chosen = _temperature_columns(table, kinds, clock.columns, channels)
    bare = {i: cells.without_unit(texts[i]) for i in chosen}
    style = cells.comma_style([bare[i][0] for i in chosen], decimal_comma)
    if style in ("mixed", "unclear"):
        what = (
            "some numbers have decimal commas and others decimal points"
            if style == "mixed"
            else "commas in the temperatures can be decimals or thousands"
        )
        raise ask(
            table,
            what,
            "say decimal_comma=True or False" if style == "unclear" else "make them alike",
        )
    issues = [Issue("torn row", np.array([n for n, _ in table.torn]))] if table.torn else []
    units = [_unit(table, table.names[i], bare[i], unit, preamble) for i in chosen]
    raw = np.column_stack(
        [
            _degrees(cells.numbers(bare[i][0], style), said, *bare[i][1:])
            for i, said in zip(chosen, units, strict=True)
        ]
    )
    parts, split, used = parts_of(
        table, kinds, texts, clock, chosen, raw, time_column is not None, **answers
    )
    issues += [
        issue
        for part in parts
        for issue in _cell_issues(table, part, texts, raw, chosen, bare, units)
    ]
    ordered = [_in_order(table, part) for part in parts]
    clocks = [part.clock for part in parts]
    seconds = on_one_axis([t for t, *_ in ordered], clocks, table)
    temperature, row = [], [table.row[order] for _, order, *_ in ordered]
    for part, (_, order, more, said), own in zip(parts, ordered, row, strict=True):
        temperature.append(raw[order][:, [chosen.index(i) for i in part.columns]])
        issues += more
        split += [text for text in said if text not in split]
        for k, name in enumerate(part.names):
            _need_one_unit(table, temperature[-1][:, k], own, name)
    usable = []
    for part, t, x, own in zip(parts, seconds, temperature, row, strict=True):
        good, more = _judge(table, t, x, own, part.names, len(parts) > 1)
        usable.append(good)
        issues += more
    understood = (
        *table.notes,
        *clock.understood,
        *split,
        *(
            f"temperature: column {table.names[i]!r} in {u}"
            + (", turned to °C" if u == "°F" else "")
            for i, u in zip(chosen, units, strict=True)
        ),
        *(
            {"decimal": ("decimal commas",), "thousands": ("commas group thousands",)}.get(
                style, ()
            )
        ),
        *_left_aside(table, {*chosen, *clock.columns, *used}),
        *(
            f"{t.size} readings {f'of {part.names[0]} ' if len(parts) > 1 else ''}over {(t[-1] - t[0]) / 60:.1f} min, usually {np.median(np.diff(t)):g} s apart"
            for part, t in zip(parts, seconds, strict=True)
        ),
    )
    first = int(np.argmin([t[0] for t in seconds]))
    return LogReading(
        *merged(seconds, temperature, usable, row),
        tuple(name for part in parts for name in part.names),
        clocks[first].stamp(ordered[first][1][0]),
        understood,
        tuple(issues),
        table.file,
    )


def _left_aside(table, used) -> tuple[str, ...]:
    aside = [name for i, name in enumerate(table.names) if i not in used]
    return (f"left aside: {', '.join(aside)}",) if aside else ()


def _temperature_columns(table: Table, kinds, timed, channels) -> list[int]:
    numeric = [
        i
        for i, kind in enumerate(kinds)
        if kind == "number" and i not in timed and (channels or not counts_time(table.names[i]))
    ]
    if channels is not None:
        for name in channels:
            if name not in table.names:
                raise UnknownName("column", name, table.names)
        chosen = [table.names.index(name) for name in channels]
    else:
        written = [unnumbered(name) for name in table.names]
        has_unit = [
            i for i in numeric if any(re.search(p, written[i], re.I) for p in _UNIT_WORDS.values())
        ]
        named = [
            i
            for i in numeric
            if i in has_unit
            or (
                _TEMPERATURE.search(written[i])
                and not _OTHER.search(written[i])
                and not (has_unit and _ONLY_LABEL.search(written[i]))
            )
        ]
        others = [i for i in numeric if not _OTHER.search(written[i])]
        chosen = named or (others if len(others) == 1 else [])
        if not chosen:
            raise ask(
                table,
                "no column is known as a temperature"
                if others
                else "there is no column of temperatures",
                f"name them: channels=['...']; there are {', '.join(table.names)}",
            )
    if not chosen:
        raise ask(table, "no channel was chosen", f"there are {', '.join(table.names)}")
    return chosen


def _unit(table, name, bare, declared, preamble) -> str:
    _, with_C, with_F = bare
    here = [u for u, pattern in _UNIT_WORDS.items() if re.search(pattern, unnumbered(name), re.I)]
    written = here or [u for u, mask in zip(UNITS, (with_C, with_F), strict=True) if mask.any()]
    if len(written) == 2:
        written = [UNITS[int(with_F.sum() > with_C.sum())]]
    if not written:
        written = [
            u
            for u, pattern in _UNIT_WORDS.items()
            if re.search(rf"(?im){pattern}|\bunit\w*\W+{u[1]}\b", preamble)
        ]
    if declared and written and written[0] != declared:
        raise ask(
            table,
            f"the file says {written[0]} but unit={declared!r} was said",
            "leave unit out, or correct the file",
            name,
        )
    if declared or len(written) == 1:
        return declared or written[0]
    raise ask(
        table,
        f"the unit of column {name!r} is not written in the file",
        "say unit='°C' or unit='°F'",
        name,
    )


def _degrees(numbers, unit, with_C, with_F):
    fahrenheit = np.where(with_F, True, np.where(with_C, False, unit == "°F"))
    return np.where(fahrenheit, (numbers - 32) / 1.8, numbers)


def _cell_issues(table, part, texts, raw, chosen, bare, units) -> list[Issue]:
    issues = []
    for name, i in zip(part.names, part.columns, strict=True):
        k, rows = chosen.index(i), part.rows
        degrees = raw[rows, k]
        empty = (
            np.array(texts[i].to_pandas() == "")[rows]
            if np.isnan(degrees).any()
            else np.zeros(degrees.size, dtype=bool)
        )
        odd = bare[i][2 if units[k] == "°C" else 1][rows]
        found = (
            ("no reading", empty),
            ("unreadable", np.isnan(degrees) & ~empty),
            ("unit change", odd),
        )
        issues += [Issue(kind, table.row[rows[mask]], name) for kind, mask in found if mask.any()]
    return issues


def _in_order(table, part):
    """Seconds of the part's clock, the rows of the table in that order, issues and what was understood."""
    issues, said, clock = [], [], part.clock
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


def _judge(table, seconds, temperature, row, names, own_clock):
    """Usable mask and the issues of gaps, impossible readings and spikes."""
    issues, usable = [], np.isfinite(temperature)
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


def _need_one_unit(table, x, row, name) -> None:
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
