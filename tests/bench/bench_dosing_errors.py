"""How often is a slip missed, and how often does an ordinary sheet raise an alarm? Run by hand: python tests/bench/bench_dosing_errors.py

Two makers of ordinary sheets: `mistakes`, whose doses fill what the rule leaves, and `trade_sheets`, whose doses are plain trade rates and whose
law is typed by hand. A false alarm on the first cannot happen by design; on the second it can.
"""

import sys
import time
from dataclasses import dataclass
from pathlib import Path

sys.path[:0] = [str(Path(__file__).resolve().parents[2]), str(Path(__file__).resolve().parent)]

import trade_sheets  # noqa: E402

from kit.cure import mistakes  # noqa: E402
from kit.cure.findings import find_dosing_errors  # noqa: E402

DIRECT = {"forgotten", "unknown_content", "mixed_rules"}


@dataclass(frozen=True)
class Count:
    """One row of the table: sheets made, and of them how many were alarmed, named (the planted slip is listed) and named first."""

    key: str
    sheets: int
    outside: int
    alarmed: int
    alarmed_outside: int
    named_outside: int
    first_outside: int
    listed_mean: float


def outside(found, plan) -> bool:
    """Is the dose outside what the rule leaves? The slack for rounded figures of law counts as inside."""
    band, nitrite = found.band, found.dose.nitrite_kg
    return nitrite > band.high_kg * 1.001 or nitrite < band.low_kg * 0.999


def named(found, key) -> int | None:
    """Place of the slip in the list, from 1; None if it is not there."""
    certain = [alarm.key for alarm in found.alarms if alarm.key in DIRECT]
    keys = list(dict.fromkeys([*certain, *(e.key for e in found.explanations)]))
    return keys.index(key) + 1 if key in keys else None


def count(key: str, sheets: int, with_target: bool = False, start: int = 0) -> Count:
    """`sheets` seeded sheets with one planted slip, looked at with the numbers alone (or with the target)."""
    alarmed = out = alarmed_out = named_out = first = listed = 0
    for seed in range(start, start + sheets):
        plan = mistakes.planted(seed, key, with_target)
        found = find_dosing_errors(plan)
        is_out = outside(found, plan) or key in DIRECT
        place = named(found, key)
        alarmed += not found.ok
        out += is_out
        alarmed_out += is_out and not found.ok
        named_out += is_out and place is not None
        first += is_out and place == 1
        listed += len({e.key for e in found.explanations}) if is_out else 0
    return Count(
        key, sheets, out, alarmed, alarmed_out, named_out, first, listed / out if out else 0.0
    )


def false_alarms(sheets: int, with_target: bool = False, start: int = 0) -> int:
    """Ordinary sheets that raised any alarm."""
    return sum(
        not find_dosing_errors(mistakes.ordinary(seed, with_target)).ok
        for seed in range(start, start + sheets)
    )


@dataclass(frozen=True)
class Ordinary:
    """Trade sheets without a slip. `false`: lawful and yet alarmed; `carried`: carried over a limit by the scale's step alone, `carried_told` of
    them told to weigh one step more or less or alarmed otherwise, `within_slack`: past a limit by no more than figures of law are rounded."""

    sheets: int
    lawful: int
    false: int
    carried: int
    carried_told: int
    within_slack: int


def trade_ordinary(sheets: int, with_target: bool = False, start: int = 0) -> Ordinary:
    """What `find_dosing_errors` says to ordinary trade sheets."""
    made = [trade_sheets.trade_sheet(seed, with_target) for seed in range(start, start + sheets)]
    lawful = [sheet for sheet in made if sheet.lawful]
    carried = [sheet for sheet in made if not sheet.lawful]
    slack = [sheet for sheet in carried if not trade_sheets.outside(sheet, sheet.plan, slack=0.001)]
    return Ordinary(
        sheets,
        len(lawful),
        sum(not find_dosing_errors(sheet.plan).ok for sheet in lawful),
        len(carried),
        sum(not find_dosing_errors(sheet.plan).ok for sheet in carried),
        len(slack),
    )


@dataclass(frozen=True)
class Missed:
    """Trade sheets with one slip: truly `outside` the printed figures and of those missed, inside and of those missed."""

    key: str
    sheets: int
    outside: int
    missed_outside: int
    unnamed: int
    inside: int
    missed_inside: int


def trade_missed(key: str, sheets: int, with_target: bool = False, start: int = 0) -> Missed:
    """What `find_dosing_errors` says to trade sheets with `key` planted. Unnamed: alarmed outside, but the planted slip is not listed."""
    out = missed = unnamed = inside = missed_inside = 0
    for seed in range(start, start + sheets):
        sheet, plan = trade_sheets.planted_sheet(seed, key, with_target)
        found = find_dosing_errors(plan)
        if key in DIRECT or trade_sheets.outside(sheet, plan):
            out += 1
            missed += found.ok
            unnamed += not found.ok and named(found, key) is None
        else:
            inside += 1
            missed_inside += found.ok
    return Missed(key, sheets, out, missed, unnamed, inside, missed_inside)


def trade_table(sheets: int) -> list[str]:
    lines = ["", "trade sheets (law typed by hand, doses by plain trade rates)"]
    for with_target in (False, True):
        o = trade_ordinary(4 * sheets, with_target)
        lines += [
            f"ordinary, {'target on the sheet' if with_target else 'numbers alone'}: {o.false} false alarms in {o.lawful} lawful of {o.sheets}; {o.carried} carried over a limit by "
            f"rounding to the scale, {o.carried_told} of them alarmed, {o.within_slack} within the slack for rounded figures of law",
            f"{'slip':22}{'sheets':>8}{'outside':>9}{'missed':>8}{'unnamed':>9}{'missed inside':>15}",
        ]
        for key in mistakes.PLANTED:
            m = trade_missed(key, sheets, with_target)
            lines.append(
                f"{key:22}{m.sheets:8}{m.outside:9}{m.missed_outside:8}{m.unnamed:9}{m.missed_inside:8} of {m.inside:4}"
            )
        lines.append("")
    return lines


def table(sheets: int = 1000) -> str:
    lines = [
        f"ordinary sheets: {false_alarms(4 * sheets)} false alarms in {4 * sheets}; with target {false_alarms(4 * sheets, True)} in "
        f"{4 * sheets}",
        "",
    ]
    for with_target in (False, True):
        lines += [
            f"planted slips, {'target on the sheet' if with_target else 'numbers alone'}",
            f"{'slip':22}{'sheets':>8}{'outside':>9}{'missed':>8}{'unnamed':>9}{'first':>8}{'listed':>8}{'missed inside':>15}",
        ]
        for key in mistakes.PLANTED:
            c = count(key, sheets, with_target)
            inside, alarmed_inside = c.sheets - c.outside, c.alarmed - c.alarmed_outside
            lines.append(
                f"{key:22}{c.sheets:8}{c.outside:9}{c.outside - c.alarmed_outside:8}{c.outside - c.named_outside:9}"
                f"{c.first_outside:8}{c.listed_mean:8.1f}"
                f"{inside - alarmed_inside:8} of {inside:4}"
            )
        lines.append("")
    lines += trade_table(sheets)
    return "\n".join(lines)


if __name__ == "__main__":
    started = time.perf_counter()
    print(table(int(sys.argv[1]) if len(sys.argv) > 1 else 1000))
    print(f"\n{time.perf_counter() - started:.1f} s")
