"""Which published row does a trace meet, with what margin, and what is missing? One finding per table, window or target.

A row is read as a hold: the longest unbroken stay at or above its temperature. Pieces on both sides of a dip or a gap in the record are not
added, since the tables print a time at a temperature, not a sum of visits; the sum is shown beside it. One row met is enough: the rows are
alternatives. Of several channels the worst one speaks.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import isnan

import numpy as np

from kit.errors import need
from kit.lethality.model import p70, p70_minutes
from kit.lethality.published import (
    HISTORY,
    MEAT,
    Hold,
    HoldTable,
    Window,
    celsius,
    known_product,
    windows_for,
)
from kit.lethality.trace import Trace, _window, longest_s, stretches
from kit.tables import number, value
from kit.working import Step, step

READING = "longest unbroken stay at or above the row's temperature; stays are not added, because a printed row is a hold, not a sum of visits"
_FINE_K = 0.01
"""a cushion is told to a tenth of a kelvin; probes read no finer"""


@dataclass(frozen=True)
class Finding:
    """`met` is True, False, or None where the record cannot tell. `margin` in `unit`: positive is inside. `cushion_K`: how much the probe
    may have read too high before nothing of it would be met (None where it does not apply)."""

    kind: str
    """hold, conditional hold, P70, single temperature, come-up, humidity, cooling or history"""
    what: str
    met: bool | None
    found: float | None
    asked: float
    unit: str
    margin: float | None
    cushion_K: float | None
    channel: str
    how: str
    edition: str
    source: str
    status: str
    notes: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def option(self) -> str:
        """What a plan would name: the table, target, single temperature or way of chilling. Options of one kind are alternatives."""
        head = self.what.split(":")[0]
        return head.rsplit(",", 1)[0] if self.kind == "cooling" else head

    @property
    def verdict(self) -> str:
        return (
            HISTORY
            if self.kind == HISTORY
            else {
                True: "met",
                False: "not met",
                None: "not shown" if self.margin is None else "not judged",
            }[self.met]
        )


@dataclass(frozen=True)
class RowHeld:
    """One printed row against one trace."""

    row: Hold
    longest_s: float
    """unbroken; nan where the trace never got there"""
    total_s: float
    """all stays added: shown, never judged by"""
    met: bool

    @property
    def margin_s(self) -> float:
        return (0.0 if isnan(self.longest_s) else self.longest_s) - self.row.hold_s


def rows_held(held: Trace, table: HoldTable, product: str) -> tuple[RowHeld, ...]:
    """Every row of `table` by its own rule. OutOfRange unless the table is for `product` (the old trichina table asks for 'history')."""
    if table.product == HISTORY:
        need(
            product == HISTORY,
            "the trichina table is history and speaks for no product; ask for it as 'history'",
        )
    else:
        table.refuse(product)
    found = []
    for row in table.rows:
        stays = stretches(held.time_s, held.temperature_C, row.temperature_C, held.gap)
        longest, total = float(stays.longest_s()[0]), float(stays.total_s()[0])
        found.append(RowHeld(row, longest, total, _meets(longest, row)))
    return tuple(found)


def _meets(longest_s: float, row: Hold) -> bool:
    return not isnan(longest_s) and longest_s >= row.hold_s * (1 - 1e-9)


def meets_table(time_s, temperature_C, table: HoldTable, product: str, gap=None) -> np.ndarray:
    """For a cloud (m, n): does each trace meet at least one row? Boolean (m,). Same rule and same refusals as `rows_held`."""
    table.refuse(product)
    met = np.zeros(np.atleast_2d(temperature_C).shape[0], bool)
    for row in sorted(table.rows, key=lambda r: -r.temperature_C):
        if met.all():
            break
        todo = np.flatnonzero(~met)
        longest = stretches(
            time_s, np.atleast_2d(temperature_C)[todo], row.temperature_C, gap
        ).longest_s()
        met[todo] = np.nan_to_num(longest, nan=-1.0) >= row.hold_s * (1 - 1e-9)
    return met


def hold_finding(
    channels: Sequence[Trace], table: HoldTable, product: str, cushion: bool = True
) -> Finding:
    """One table against all channels. The headline row is the timed row held longest against what it asks, on the worst channel.

    `cushion` False leaves that search out: a plan has no probe that could read too high."""
    channels = [
        held.above(min(row.temperature_C for row in table.rows)) for held in channels
    ]  # a long log is mostly cold
    per = [(held, rows_held(held, table, product)) for held in channels]
    every = [
        (held, rows, max((r for r in rows if r.row.hold_s > 0), key=_ratio)) for held, rows in per
    ]
    met = all(any(r.met for r in rows) for _, rows, _ in every)
    held, rows, best = min(every, key=lambda one: (any(r.met for r in one[1]), _ratio(one[2])))
    got = 0.0 if isnan(best.longest_s) else best.longest_s
    met_rows = [r for r in rows if r.met]
    notes = [table.note] if table.note else []
    if met_rows and all(r.row.hold_s == 0 for r in met_rows):
        notes.append(
            f"met only by a row printed without a time ({met_rows[0].row.temperature_F:g} °F), reached in the record"
        )
    comparable = number("lethality_comparable_low_C")
    if (
        met_rows
        and all(r.row.temperature_C < comparable.value for r in met_rows)
        and table.product == MEAT
    ):
        notes.append(
            f"met only below {comparable.value:g} °C, where a study did not find the table borne out at 54.4 °C ({comparable.cite()})"
        )
    if not met:
        notes.append(_shortfall(held, rows))
    if best.total_s > got + 1:
        notes.append(
            f"all stays at {best.row.temperature_F:g} °F or above add up to {best.total_s / 60:.2f} min; the longest single one counts"
        )
    if table.status != "read":
        notes.append("second-hand rows: read the table itself before relying on them")
    work = (
        step(
            f"Margin of the row {best.row.temperature_F:g} °F",
            "margin = held − asked",
            (got - best.row.hold_s) / 60,
            "min",
            held=(got / 60, "min", "longest unbroken stay"),
            asked=(best.row.hold_s / 60, "min", best.row.printed),
        ),
    )
    kind = (
        HISTORY if table.product == HISTORY else "conditional hold" if table.condition else "hold"
    )
    found = Finding(
        kind,
        f"{table.title}: row {best.row.temperature_F:g} °F ({best.row.temperature_C:.1f} °C), {best.row.printed}",
        met,
        got / 60,
        best.row.hold_s / 60,
        "min",
        (got - best.row.hold_s) / 60,
        min(_cushion_K(one, table) for one in channels) if met and cushion else None,
        held.name,
        READING,
        table.edition,
        table.source,
        table.status,
        tuple(notes),
        work,
    )
    return not_judged(found, table.condition) if table.condition and met else found


def _ratio(r: RowHeld) -> float:
    return 0.0 if isnan(r.longest_s) else r.longest_s / r.row.hold_s


def _shortfall(held: Trace, rows) -> str:
    reached = [r for r in rows if not isnan(r.longest_s)]
    if not reached:
        return f"{held.name}: the core reached {held.peak_C:.1f} °C, below the first row of {min(r.row.temperature_C for r in rows):.1f} °C"
    near = min(reached, key=lambda r: r.row.hold_s - r.longest_s)
    return f"{held.name}: nearest is the row {near.row.temperature_F:g} °F, short by {-near.margin_s / 60:.2f} min"


def _cushion_K(held: Trace, table: HoldTable) -> float:
    """The most kelvins by which the trace may be lowered with some row still met. A row is searched only where it beats the best so far."""
    best = 0.0
    for row in table.rows:

        def holds(kelvin, row=row):
            return _meets(longest_s(held, row.temperature_C + kelvin), row)

        if holds(best + _FINE_K):
            best = _most(holds, best + _FINE_K, held.peak_C - row.temperature_C)
    return best


def _most(holds, low: float, high: float) -> float:
    """The largest number between `low`, which holds, and `high`, by halving."""
    while high - low > _FINE_K:
        middle = (low + high) / 2
        low, high = (middle, high) if holds(middle) else (low, middle)
    return low


def p70_findings(channels: Sequence[Trace]) -> tuple[Finding, ...]:
    """P70 and core against the two published targets, on the worst channel. Both must be exceeded."""
    channels = [held.above(celsius(value("lethality_floor_F"))) for held in channels]
    values = [p70(held) for held in channels]
    worst, coldest = min(values, key=lambda v: v.minutes), min(values, key=lambda v: v.peak_C)
    found = []
    for key, title in (
        ("scalded", "scalded sausage (frankfurter, bologna)"),
        ("precooked", "sausage of precooked material"),
    ):
        target, core = number(f"p_{key}_min"), number(f"p_{key}_core_C")
        met = worst.minutes > target.value and coldest.peak_C > core.value
        by_core = not met and worst.minutes > target.value
        got, asked, unit, channel = (
            (coldest.peak_C, core.value, "°C", coldest.channel)
            if by_core
            else (worst.minutes, target.value, "min", worst.channel)
        )

        def holds(kelvin, target=target, core=core):
            return all(
                p70_minutes(h.time_s, h.temperature_C - kelvin, h.gap) > target.value
                and h.peak_C - kelvin > core.value
                for h in channels
            )

        notes = [
            f"P70 {worst.minutes:.1f} min ({worst.channel}); coldest core {coldest.peak_C:.1f} °C ({coldest.channel}); both must be exceeded",
            "an integral with z = 10 K, not the time-temperature table; the source does not speak of poultry",
            *worst.notes,
        ]
        margin = step(
            "Margin",
            "margin = found − asked",
            got - asked,
            "K" if by_core else unit,
            found=(got, unit),
            asked=(asked, unit),
        )
        found.append(
            Finding(
                "P70",
                f"P70 above {target.value:g} min and core above {core.value:g} °C, {title}",
                met,
                got,
                asked,
                unit,
                got - asked,
                _most(holds, 0.0, coldest.peak_C - core.value) if met else None,
                channel,
                "integral of 10^((T − 70)/10), nothing below 130 °F",
                "2007, as quoted in 2010",
                target.cite(),
                target.status,
                tuple(notes),
                (*worst.working, margin),
            )
        )
    return tuple(found)


def single_point_finding(
    channels: Sequence[Trace], product: str, cured: bool, smoked: bool = False
) -> Finding:
    """The single temperature published for this kind of product, on the coldest channel. The lower one for poultry requires cured and smoked."""
    known_product(product)
    key = "meat" if product == MEAT else "cured_poultry" if cured and smoked else "poultry"
    row = number(f"single_point_{key}_F")
    lower = (
        (
            f"{value('single_point_cured_poultry_F'):g} °F is published for poultry that is cured and smoked",
        )
        if key == "poultry" and cured
        else ()
    )
    asked, held = celsius(row.value), min(channels, key=lambda one: one.peak_C)
    peak = held.peak_C
    work = (
        step(
            "Margin",
            "margin = peak − asked",
            peak - asked,
            "K",
            peak=(peak, "°C"),
            asked=(asked, "°C", f"{row.value:g} °F"),
        ),
    )
    return Finding(
        "single temperature",
        f"{row.basis}: {row.value:g} °F ({asked:.1f} °C)",
        peak >= asked - 1e-9,
        peak,
        asked,
        "°C",
        peak - asked,
        max(peak - asked, 0.0),
        held.name,
        "highest reading of the coldest channel",
        "December 2021 and earlier",
        row.cite(),
        row.status,
        (
            "one temperature without a time; not the table itself",
            *((row.note,) if row.note else ()),
            *lower,
        ),
        work,
    )


def cooling_findings(
    channels: Sequence[Trace], cured: bool, nitrite_ppm: float | None = None, on: date | None = None
) -> tuple[Finding, ...]:
    """Every window for this product. One that requires nitrite is not judged where the ingoing nitrite is not given."""
    found = []
    for window in windows_for(cured, nitrite_ppm, on):
        finding = cooling_finding(channels, window)
        if window.nitrite_min_ppm is not None:
            needs = f"requires at least {window.nitrite_min_ppm:g} ppm ingoing nitrite"
            finding = (
                not_judged(finding, f"{needs}, which is not given")
                if finding.met and nitrite_ppm is None
                else replace(finding, notes=(*finding.notes, needs))
            )
        found.append(finding)
    return tuple(found)


def cooling_finding(channels: Sequence[Trace], window: Window) -> Finding:
    """One published window on the slowest channel: from first below its start (or the peak) to last above its end."""
    per = []
    for held in channels:
        began, took, so_far = (
            float(x[0])
            for x in _window(held.time_s, held.temperature_C, window.start_C, window.end_C)
        )
        per.append((held, began, took, so_far))
    slowest = max(
        per,
        key=lambda one: (
            (isnan(one[2]), one[3] if isnan(one[2]) else one[2])
            if not isnan(one[1])
            else (True, np.inf)
        ),
    )
    held, began, took, so_far = slowest
    start = (
        "the peak" if window.start_F is None else f"{window.start_F:g} °F ({window.start_C:.1f} °C)"
    )
    title = f"{window.title}, {window.part}: {start} to {window.end_F:g} °F ({window.end_C:.1f} °C) in {window.limit_min:g} min"
    notes = [window.note] if window.note else []
    met, found, margin, work = None, None, None, ()
    if isnan(began):
        level = f"{window.end_C:.1f} °C" if window.start_C is None else start
        notes.append(
            f"{held.name}: the record never falls through {level}, so this window is not shown"
        )
    elif isnan(took):
        found = so_far / 60
        met = False if found > window.limit_min else None
        margin = window.limit_min - found if met is False else None
        notes.append(
            f"{held.name}: the record ends above {window.end_C:.1f} °C after {found:.0f} min; log until it is below"
        )
    else:
        found = took / 60
        met, margin = found <= window.limit_min * (1 + 1e-9), window.limit_min - found
        if held.gap[
            np.searchsorted(held.time_s, began, "right") - 1 : np.searchsorted(
                held.time_s, began + took, "left"
            )
        ].any():
            notes.append(
                f"{held.name}: the record has a gap inside this window; the crossing times lean on straight lines"
            )
    if margin is not None:
        work = (
            step(
                "Margin",
                "margin = limit − took",
                margin,
                "min",
                limit=(window.limit_min, "min"),
                took=(found, "min"),
            ),
        )
    return Finding(
        "cooling",
        title,
        met,
        found,
        window.limit_min,
        "min",
        margin,
        None,
        held.name,
        "from first falling below the start to last leaving the end, after the peak; slowest channel",
        window.edition,
        window.source,
        window.status,
        tuple(notes),
        work,
    )


def not_judged(finding: Finding, why: str) -> Finding:
    """The same figures without a verdict."""
    return replace(
        finding,
        met=None,
        cushion_K=None,
        notes=(
            *finding.notes,
            f"the figures alone: {'reached' if finding.met else 'not reached'}; {why}",
        ),
    )
