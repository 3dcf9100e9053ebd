"""The operating parameters that go with the tables: how long the core was on its way up, and how moist the smokehouse was.

The cook lasts from the first reading to the moment at which the record first meets a row of the product's table, on the slowest channel.
"""

from collections.abc import Sequence
from datetime import date
from math import inf, isinf

import numpy as np

from kit.errors import UnknownName, need_between
from kit.lethality.findings import RowFinding, finding
from kit.lethality.published import HoldTable, Operating, celsius, every_operating, operating_rules
from kit.lethality.trace import Trace, stretches
from kit.tables import number

NO_CASING = "none"


def lethal_s(held: Trace, tables: Sequence[HoldTable], from_F: float = -inf) -> float:
    """Second of the record at which a row of these tables is first met, among rows of at least `from_F`; inf if none is."""
    first = inf
    for row in (row for table in tables for row in table.rows if row.temperature_F >= from_F):
        stays = stretches(held.time_s, held.temperature_C, row.temperature_C, held.gap)
        long_enough = stays.seconds >= row.hold_s * (1 - 1e-9)
        if long_enough.any():
            first = min(first, float(stays.start_s[long_enough].min()) + row.hold_s)
    return first


def come_up_findings(
    channels: Sequence[Trace], tables: Sequence[HoldTable], on: date | None = None
) -> tuple[RowFinding, ...]:
    """All time between the two temperatures, up to the moment the table is met (to the end where it never is), on the slowest channel.

    A gap in the record counts as time between them. None where the edition in force has no such rule, or no table covers the product.
    """
    return tuple(
        _come_up(channels, tables, rule) for rule in operating_rules("come-up", on) if tables
    )


def _come_up(channels, tables, rule: Operating) -> RowFinding:
    low, high = celsius(rule.low_F or 0.0), celsius(rule.high_F or 0.0)
    most_min = rule.most_min or 0.0
    per = []
    for held in channels:
        end = lethal_s(held, tables)
        within = np.r_[held.time_s[held.time_s < end], [] if isinf(end) else end]
        temperature = np.interp(within, held.time_s, held.temperature_C)
        seconds = 0.0
        if len(within) > 1:
            above = stretches(within, temperature, high, held.gap[: len(within) - 1]).total_s()[0]
            seconds = float(stretches(within, temperature, low).total_s()[0] - above)
        per.append((seconds / 60, isinf(end), held))
    minutes, _, held = max(per, key=lambda one: one[0])
    start = held.temperature_C[0]
    usual = number("cook_start_C")
    notes = []
    if any(one[1] for one in per):
        notes.append(
            "the table is not met on every channel: all time between the two temperatures counts, also while cooling"
        )
    if start > low:
        notes.append(
            f"{held.name}: the record begins at {start:.1f} °C, above {low:.1f} °C; heating time before it is not counted"
        )
    met: bool | None = minutes <= most_min * (1 + 1e-9)
    if met and start > usual.high:
        met = None
    what, figures = f"{rule.title}: at most {most_min:g} min in all", (minutes, most_min, "min")
    return finding("come-up", what, met, figures, held.name, rule.origin, at_most=True, notes=notes)


def needs_humidity(casing: str | None) -> bool | None:
    """Do the humidity options apply to product in this casing? None where the casing is not said. 'none': product without a casing."""
    known = tuple(kind for rule in every_operating() for kind in rule.casings)
    if casing is None:
        return None
    if casing != NO_CASING and not casing.startswith(known):
        raise UnknownName("casing", casing, (*known, NO_CASING))
    return casing == NO_CASING


def humidity_findings(
    channels: Sequence[Trace],
    tables: Sequence[HoldTable],
    humidity=None,
    steam_min: float | None = None,
    sealed_min: float | None = None,
    on: date | None = None,
) -> tuple[RowFinding, ...]:
    """The humidity options of the edition in force, one finding each; one met option is enough. `humidity`: (seconds, percent) of the smokehouse.

    `steam_min`, `sealed_min`: for how long steam was let in, or the oven was closed, in all.
    """
    if not tables:
        return ()
    for name, given in (("steam_min", steam_min), ("sealed_min", sealed_min)):
        if given is not None:
            need_between(name, given, 0, 1e5, "minutes in all")
    slowest = max(channels, key=lambda held: lethal_s(held, tables))
    given_min = {"1": steam_min, "2": sealed_min}
    return tuple(
        _humidity(rule, channels, slowest, tables, humidity, given_min.get(rule.option))
        for rule in operating_rules("humidity", on)
    )


def _humidity(
    rule: Operating, channels, slowest: Trace, tables, humidity, given: float | None
) -> RowFinding:
    begin, end = float(slowest.time_s[0]), lethal_s(slowest, tables)
    cook_min = ((float(slowest.time_s[-1]) if isinf(end) else end) - begin) / 60
    asked, found, notes = rule.needed_min(cook_min), given, []
    if rule.least_rh_pct is not None and humidity is not None:
        seconds, percent = humidity
        stop = begin + 60 * cook_min
        inside = np.r_[begin, seconds[(seconds > begin) & (seconds < stop)], stop]
        moist = np.interp(inside, seconds, percent, left=0, right=0)
        longest = stretches(inside, moist, rule.least_rh_pct).longest_s()[0]
        found = float(np.nan_to_num(longest)) / 60
    met = None if found is None or isinf(end) else found >= asked * (1 - 1e-9)
    if found is None:
        notes.append("no record of it was given")
    if isinf(end):
        notes.append(
            "the table is not met on every channel, so the length of the cook is not known"
        )
    if met and cook_min < (rule.cook_least_min or 0.0):
        met = False
        notes.append(
            f"the cook lasted {cook_min:.0f} min; the option requires at least {rule.cook_least_min:g} min"
        )
    end_F = -inf if rule.end_F is None else rule.end_F
    if met and any(isinf(lethal_s(held, tables, end_F)) for held in channels):
        met = False
        notes.append(
            f"no row of {end_F:g} °F or more is met on every channel; options 1 and 2 require one"
        )
    figures, means = (found, asked, "min"), ("", f"of a cook of {cook_min:.0f} min")
    of = (slowest.name, rule.origin)
    return finding("humidity", rule.title, met, figures, *of, notes=notes, means=means)
