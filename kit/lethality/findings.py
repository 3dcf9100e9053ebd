"""Which published row does a trace meet, with what margin, and what is missing? One finding per table, window or target.

A row is read as a hold: the longest unbroken stay at or above its temperature. Pieces on both sides of a dip or a gap in the record are not
added, since the tables print a time at a temperature, not a sum of visits; the sum is shown beside it. One row met is enough: the rows are
alternatives. Of several channels the worst one speaks.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from math import inf, isnan
from typing import Any

import numpy as np

from kit.lethality.model import p70
from kit.lethality.published import (
    MEAT,
    Hold,
    HoldTable,
    Published,
    Window,
    celsius,
    known_product,
    windows_for,
)
from kit.lethality.trace import Trace, cooling, stretches
from kit.tables import Number, number, value
from kit.working import Result, Step, notes_of, working_of


@dataclass(frozen=True)
class RowFinding(Result):
    """`met` is True, False, or None where the record cannot tell."""

    kind: str
    """hold, conditional hold, P70, single temperature, come-up or cooling"""
    what: str
    met: bool | None
    found: float | None
    asked: float
    unit: str
    channel: str
    published: Published
    means: tuple[str, str] = ("", "")
    """what was found, and what is asked, in words"""
    at_most: bool = False
    """`asked` is an upper limit"""
    unfinished: bool = False
    """the record ends before it shows a margin"""

    @property
    def margin(self) -> float | None:
        """In `unit`: positive is inside. None where the record does not show it."""
        if self.found is None or self.unfinished:
            return None
        return self.asked - self.found if self.at_most else self.found - self.asked

    @property
    def margin_unit(self) -> str:
        return "K" if self.unit == "°C" else self.unit

    @property
    def sources(self) -> tuple[str, ...]:
        return (self.published.source,)

    @property
    def working(self) -> tuple[Step, ...]:
        over = "asked − found" if self.at_most else "found − asked"
        known = {"found": self.found, "asked": self.asked, "margin": self.margin}
        return (*self.own_working, *working_of("row finding", one=self, over=over, **known))

    @property
    def option(self) -> str:
        """What a plan would name: the table, target, single temperature or way of chilling. Options of one kind are alternatives."""
        head = self.what.split(":")[0]
        return head.rsplit(",", 1)[0] if self.kind == "cooling" else head

    @property
    def verdict(self) -> str:
        """The finding in one or two words."""
        if self.met is None:
            return "not shown" if self.margin is None else "not judged"
        return "met" if self.met else "not met"


@dataclass(frozen=True)
class RowHeld:
    """One published row and one trace."""

    row: Hold
    longest_s: float
    """unbroken; below 0 where the trace never got there"""
    total_s: float
    """all stays added: shown, never judged by"""

    @property
    def met(self) -> bool:
        return self.longest_s >= self.row.hold_s * (1 - 1e-9)

    @property
    def short_min(self) -> float:
        return (self.row.hold_s - self.longest_s) / 60

    @property
    def held_s(self) -> float:
        return max(self.longest_s, 0.0)

    @property
    def share(self) -> float:
        """Of the time that the row asks for; 0 for a row without one."""
        return self.held_s / self.row.hold_s if self.row.hold_s else 0.0


def rows_held(held: Trace, table: HoldTable, product: str) -> tuple[RowHeld, ...]:
    """Every row of `table` by its own rule. OutOfRange unless the table is for `product`."""
    table.refuse(product)
    found = []
    for row in table.rows:
        _, stays_s = stretches(held.time_s, held.temperature_C, row.temperature_C, held.gap)
        found.append(RowHeld(row, float(stays_s.max(initial=-inf)), float(stays_s.sum())))
    return tuple(found)


def hold_finding(channels: Sequence[Trace], table: HoldTable, product: str) -> RowFinding:
    """One table against all channels. The headline row is the timed row held longest against what it asks, on the worst channel."""
    lowest = min(row.temperature_C for row in table.rows)
    per = []
    for channel in channels:
        held = channel.above(lowest)  # a long log is mostly cold
        rows = rows_held(held, table, product)
        best = max((r for r in rows if r.row.hold_s > 0), key=lambda r: r.share)
        per.append((any(r.met for r in rows), best, held, rows))
    met = all(one[0] for one in per)
    _, best, held, rows = min(per, key=lambda one: (one[0], one[1].share))
    return _by_row(table, held, rows, best, met, "longest unbroken stay")


def warmest_row_met(held: Trace, table: HoldTable, product: str) -> RowFinding:
    """The warmest row of a table that one core meets; where it meets none, the one that it comes nearest to."""
    rows = rows_held(held, table, product)
    best = max((r for r in rows if r.met), key=lambda r: r.row.temperature_F, default=None)
    if best is None:
        return hold_finding((held,), table, product)
    return _by_row(table, held, rows, best, True, "time at that core")


def _by_row(table: HoldTable, held: Trace, rows, best: RowHeld, met: bool, means: str):
    """The finding of a table by one of its rows; not judged where the table asks for more than the row."""
    row, kind = best.row, "conditional hold" if table.condition else "hold"
    at = f"{row.temperature_F:g} °F ({row.temperature_C:.1f} °C)"
    found = RowFinding(
        kind,
        f"{table.title}: row {at}, {row.printed}",
        met,
        best.held_s / 60,
        row.hold_s / 60,
        "min",
        held.name,
        table,
        (means, row.printed),
        own_notes=_hold_notes(table, held, rows, best, met),
    )
    return not_judged(found, table.condition) if table.condition and met else found


def _hold_notes(table, held, rows, best, met) -> tuple[str, ...]:
    """What is to be said of a table and a trace beside the verdict."""
    met_rows = [r.row for r in rows if r.met]
    comparable = number("lethality_comparable_low_C")
    warmest = max((row.temperature_C for row in met_rows), default=inf)
    near = min((r for r in rows if r.longest_s >= 0), key=lambda r: r.short_min, default=None)
    untimed = bool(met_rows) and all(row.hold_s == 0 for row in met_rows)
    holds = {
        "printed": table.note,
        "no time": untimed,
        "cool": warmest < comparable.value and table.product == MEAT,
        "too cold": not met and near is None,
        "short": not met and near is not None,
        "stays": best.total_s > best.held_s + 1,
        "second-hand": table.status != "read",
    }
    known = {"table": table, "held": held, "best": best, "near": near, "comparable": comparable}
    known |= {"cited": comparable.cite(), "total_min": best.total_s / 60}
    known["first_C"] = min(r.row.temperature_C for r in rows)
    known["untimed"] = met_rows[0].temperature_F if untimed else None
    return notes_of("held rows", holds, **known)


def p70_findings(channels: Sequence[Trace]) -> tuple[RowFinding, ...]:
    """P70 and core against the two published targets, on the worst channel. Both must be exceeded."""
    channels = [held.above(celsius(value("lethality_floor_F"))) for held in channels]
    values = [p70(held) for held in channels]
    worst, coldest = min(values, key=lambda v: v.minutes), min(values, key=lambda v: v.peak_C)
    notes = (*notes_of("P70", {}, worst=worst, coldest=coldest), *worst.notes)
    found = []
    for key, title in (
        ("scalded", "scalded sausage (frankfurter, bologna)"),
        ("precooked", "sausage of precooked material"),
    ):
        row, core = number(f"p_{key}_min"), number(f"p_{key}_core_C").value
        long_enough = worst.minutes > row.value
        met = long_enough and coldest.peak_C > core
        figures, channel = (worst.minutes, row.value, "min"), worst.channel
        if long_enough and not met:
            figures, channel = (coldest.peak_C, core, "°C"), coldest.channel
        what = f"P70 above {row.value:g} min and core above {core:g} °C, {title}"
        published = _of_row(row, "2007, as quoted in 2010")
        own: dict[str, Any] = {"own_notes": notes, "own_working": worst.working}
        found.append(RowFinding("P70", what, met, *figures, channel, published, **own))
    return tuple(found)


def _of_row(row: Number, edition: str) -> Published:
    """A number of the reference tables, as a published figure of this edition."""
    return Published(title=row.basis, edition=edition, source=row.cite(), status=row.status)


def single_point_finding(
    channels: Sequence[Trace], product: str, cured: bool, smoked: bool = False
) -> RowFinding:
    """The single temperature published for this kind of product, on the coldest channel. The lower one for poultry requires cured and smoked."""
    known_product(product)
    key = "meat" if product == MEAT else "cured_poultry" if cured and smoked else "poultry"
    row = number(f"single_point_{key}_F")
    holds = {"printed": row.note, "cured": key == "poultry" and cured}
    lower = value("single_point_cured_poultry_F")
    asked, held = celsius(row.value), min(channels, key=lambda one: one.peak_C)
    peak, printed = held.peak_C, f"{row.value:g} °F"
    return RowFinding(
        "single temperature",
        f"{row.basis}: {printed} ({asked:.1f} °C)",
        peak >= asked - 1e-9,
        peak,
        asked,
        "°C",
        held.name,
        _of_row(row, "December 2021 and earlier"),
        ("peak of the coldest channel", printed),
        own_notes=notes_of("single temperature", holds, row=row, lower=lower),
    )


def cooling_findings(
    channels: Sequence[Trace], cured: bool, nitrite_ppm: float | None = None, on: date | None = None
) -> tuple[RowFinding, ...]:
    """Every window for this product. One that requires nitrite is not judged where the ingoing nitrite is not given."""
    found = []
    for window in windows_for(cured, nitrite_ppm, on):
        one = cooling_finding(channels, window)
        if window.nitrite_min_ppm is not None:
            needs = f"requires at least {window.nitrite_min_ppm:g} ppm ingoing nitrite"
            if one.met and nitrite_ppm is None:
                one = not_judged(one, f"{needs}, which is not given")
            else:
                one = replace(one, own_notes=(*one.own_notes, needs))
        found.append(one)
    return tuple(found)


def cooling_finding(channels: Sequence[Trace], window: Window) -> RowFinding:
    """One published window on the slowest channel: from first below its start (or the peak) to last above its end."""

    def slowness(one):
        _, began, took, so_far = one
        return (True, inf) if isnan(began) else (isnan(took), so_far if isnan(took) else took)

    levels = window.start_C, window.end_C
    per = [(held, *cooling(held.time_s, held.temperature_C, *levels)) for held in channels]
    held, began, took, so_far = max(per, key=slowness)
    below, start, level = f"{window.end_C:.1f} °C", "the peak", f"{window.end_C:.1f} °C"
    if window.start_F is not None:
        start = level = f"{window.start_F:g} °F ({window.start_C:.1f} °C)"
    met, found, gap = None, None, False
    ended = not isnan(took)
    if not ended and not isnan(began):
        found = so_far / 60
        met = False if found > window.limit_min else None
    elif ended:
        found = took / 60
        met = found <= window.limit_min * (1 + 1e-9)
        first = np.searchsorted(held.time_s, began, "right") - 1
        last = np.searchsorted(held.time_s, began + took, "left")
        gap = bool(held.gap[first:last].any())
    holds = {"printed": window.note, "never": found is None, "gap": gap}
    holds["ends"] = found is not None and not ended
    known = {"window": window, "held": held, "level": level, "below": below, "so_far": found}
    return RowFinding(
        "cooling",
        f"{window.title}, {window.part}: {start} to {window.end_F:g} °F ({below}) in {window.limit_min:g} min",
        met,
        found,
        window.limit_min,
        "min",
        held.name,
        window,
        at_most=True,
        unfinished=met is None,
        own_notes=notes_of("cooling window", holds, **known),
    )


def not_judged(found: RowFinding, why: str) -> RowFinding:
    """The same figures without a verdict."""
    alone = f"the figures alone: {'reached' if found.met else 'not reached'}; {why}"
    return replace(found, met=None, own_notes=(*found.own_notes, alone))
