"""What is seen at the bowl or on the cooked link, and what then? For one batch.

At the bowl: rows of data/diagnosis/decision_card.csv. What a sign means was read, what to do about it is common practice
almost throughout: no published rescue of a broken batter was found. After cooking: symptoms, causes and measurements of the catalogue.
"""

from collections.abc import Mapping
from dataclasses import dataclass

from kit import tables
from kit.diagnosis.answer import diagnose
from kit.diagnosis.catalogue import catalogue
from kit.units import METRIC, show

NO_RESCUE = "No published rescue of a broken batter was found; what is marked common practice was not tried here."
MOST_CAUSES = 3


@dataclass(frozen=True)
class BowlSign:
    """One sign at the bowl, what it means, and what to do."""

    key: str
    sign: str
    means: str
    stop: str
    chill: str
    add: str
    go_on: str


@dataclass(frozen=True)
class CookedDefect:
    """A symptom of the cooked link: `causes` (likeliest first), the measurement that tells them apart soonest, and what each unusual result of it would mean."""

    key: str
    sign: str
    causes: tuple[str, ...]
    measure: str
    tells: tuple[str, ...]


def bowl_signs(
    low_C: float,
    high_C: float,
    fat_pct: float,
    salt_pct: float,
    batch_kg: float,
    system: str = METRIC,
) -> tuple[BowlSign, ...]:
    """The signs at the bowl, with the numbers of one batch.

    low_C, high_C: limits of the final chopping temperature for this fat. fat_pct, salt_pct: of the batter. batch_kg: in the bowl. system: metric or US.
    """
    # the guide for any fat begins below freezing, where nothing is chopped on
    low = max(low_C, tables.value("meat_temperature_usual"))
    chill = {"low": low, "hold": tables.value("card_hold_C")}
    high = show(high_C, "°C", system)
    filled = {
        "range": high if low >= high_C else f"{show(low, '°C', system)} to {high}",
        "high": high,
        "fat": f"{fat_pct:.1f} %",
        "step": _weight(batch_kg * tables.value("card_step_pct") / 100, system),
        "salt": _salt(salt_pct, batch_kg, system),
    }
    found = []
    for row in tables.read_rows("diagnosis", "decision_card.csv"):
        to = chill.get(row["chill"])
        cool = "no need" if to is None else f"chill to {show(to, '°C', system)} or below"
        names = ("sign", "means", "stop", "add", "go_on")
        said = {name: row[name].format_map(filled) for name in names}
        found.append(BowlSign(key=row["key"], chill=cool, **said))
    return tuple(found)


def _salt(salt_pct: float, batch_kg: float, system: str) -> str:
    least = tables.number("card_least_salt_pct")
    if salt_pct >= least.value:
        return f"salt is {salt_pct:.2f} % of the batter, not below {least.value:g} %: work what is in it"
    missing = _weight(batch_kg * (least.value - salt_pct) / 100, system)
    return f"{missing} of salt are missing to {least.value:g} % of the batter"


def _weight(kg: float, system: str) -> str:
    if kg >= 1:
        return show(kg, "kg", system)
    return show(1000 * kg, "g", system, 0 if system == METRIC else None)


def cooked_defects(readings: Mapping[str, float]) -> tuple[CookedDefect, ...]:
    """Every symptom of the catalogue with its ranked causes, given what is known of this batch: {reading: value} as `diagnose` takes it."""
    rows = []
    for key, symptom in catalogue().symptoms.items():
        found = diagnose([key], readings)
        causes = tuple(
            f"{one.cause.name}: next time {one.cause.mend}" for one in found.standing[:MOST_CAUSES]
        )
        sign, measure = f"{symptom.name}: {symptom.as_seen}", ""
        first = found.next_jobs[0] if found.next_jobs else None
        if first:
            measure = f"{first.job.name} ({first.job.minutes:g} min): {first.job.how}"
        rows.append(CookedDefect(key, sign, causes, measure, first.tells if first else ()))
    return tuple(rows)
