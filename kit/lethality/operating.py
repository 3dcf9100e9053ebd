"""The operating parameters that go with the tables: how long the core was on its way up, and whether the humidity of the smokehouse matters.

The come-up ends at the moment at which the record first meets a row of the product's table, on the slowest channel.
"""

from collections.abc import Sequence
from datetime import date
from math import inf, isinf

import numpy as np

from kit.errors import UnknownName
from kit.lethality.findings import RowFinding
from kit.lethality.published import HoldTable, Operating, celsius, every_operating, operating_rules
from kit.lethality.trace import Trace, stretches
from kit.tables import number
from kit.working import notes_of

NO_CASING = "none"


def lethal_s(held: Trace, tables: Sequence[HoldTable]) -> float:
    """Second of the record at which a row of these tables is first met; inf if none is."""
    first = inf
    for row in (row for table in tables for row in table.rows):
        start_s, stay_s = stretches(held.time_s, held.temperature_C, row.temperature_C, held.gap)
        long_enough = stay_s >= row.hold_s * (1 - 1e-9)
        first = min(first, float(start_s[long_enough].min(initial=inf)) + row.hold_s)
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
            _, above_s = stretches(within, temperature, high, held.gap[: len(within) - 1])
            _, from_low_s = stretches(within, temperature, low)
            seconds = float(from_low_s.sum() - above_s.sum())
        per.append((seconds / 60, isinf(end), held))
    minutes, _, held = max(per, key=lambda one: one[0])
    start = held.temperature_C[0]
    usual = number("cook_start_C")
    holds = {"no end": any(one[1] for one in per), "warm start": start > low}
    notes = notes_of("come-up", holds, held=held, start=start, low=low)
    met: bool | None = minutes <= most_min * (1 + 1e-9)
    if met and start > usual.high:
        met = None
    what, figures = f"{rule.title}: at most {most_min:g} min in all", (minutes, most_min, "min")
    return RowFinding(
        "come-up", what, met, *figures, held.name, rule, at_most=True, own_notes=notes
    )


def humidity_words(casing: str | None, on: date | None = None) -> tuple[list[str], list[str]]:
    """(what is missing, what is noted) of the smokehouse's humidity in the edition in force: its options are for product without a casing.

    `casing`: its kind, 'none' for product without one, None where nobody says. A core log shows no humidity, so no option is judged.
    """
    known = tuple(kind for rule in every_operating() for kind in rule.casings)
    if casing is not None and casing != NO_CASING and not casing.startswith(known):
        raise UnknownName("casing", casing, (*known, NO_CASING))
    missing: list[str] = []
    noted: list[str] = []
    options = "; ".join(rule.title for rule in operating_rules("humidity", on))
    holds = {"casing": casing is None, "options": casing == NO_CASING}
    for rule in operating_rules("humidity not required", on):
        casings = ", ".join(rule.casings)
        missing += notes_of("humidity lacks", holds, casings=casings, options=options)
        if not any(holds.values()):
            noted += notes_of("humidity", {}, casing=casing, rule=rule)
    return missing, noted
