"""What is seen at the bowl or on the cooked link, and what then? One card for one batch.

At the bowl: rows of data/diagnosis/decision_card.csv. What a sign means was read, what to do about it is common practice
almost throughout: no published rescue of a broken batter was found. After cooking: symptoms, causes and measurements of the catalogue.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache

from kit import tables
from kit.diagnosis.answer import diagnose
from kit.diagnosis.catalogue import catalogue
from kit.errors import need, need_between
from kit.units import METRIC, show

BOWL, COOKED = "at the bowl", "after cooking"
NO_RESCUE = "No published rescue of a broken batter was found; what is marked common practice was not tried here."
MOST_CAUSES = 3


@dataclass(frozen=True)
class CardRow:
    """One sign. At the bowl: `means`, `stop`, `chill_to_C` (None: no need), `add`, `go_on`. After cooking: `be_sure`, `causes` (likeliest first) and `measure`."""

    key: str
    when: str
    sign: str
    means: str = ""
    stop: str = ""
    chill_to_C: float | None = None
    chill: str = ""
    add: str = ""
    go_on: str = ""
    be_sure: str = ""
    causes: tuple[str, ...] = ()
    measure: str = ""
    """the measurement that tells the causes apart soonest"""
    tells: tuple[str, ...] = ()
    """what each unusual result of it would mean"""
    note: str = ""
    cite: str = ""
    """where the meaning comes from"""
    cite_do: str = ""
    """where the advice comes from"""


def decision_card(
    low_C: float,
    high_C: float,
    fat_pct: float,
    salt_pct: float,
    batch_kg: float,
    readings: Mapping[str, float] | None = None,
    symptoms: Iterable[str] | None = None,
    system: str = METRIC,
) -> tuple[CardRow, ...]:
    """The card of one batch: signs at the bowl, then what is found after cooking.

    low_C, high_C: limits of the final chopping temperature for this fat, -10 to 40. fat_pct, salt_pct: of the batter, 0 to 100. batch_kg: in the bowl.
    readings: what is known of this batch, {reading: value} as `diagnose` takes it. symptoms: keys or names of the catalogue; all where left out.
    system: metric or US. Raises OutOfRange, UnknownName. Source: data/diagnosis, each row its own.
    """
    low, high = need_between("low_C", low_C, -10, 40), need_between("high_C", high_C, -10, 40)
    need(low <= high, f"low_C {low:g} is above high_C {high:g}; give the lower limit first")
    fat = need_between("fat_pct", fat_pct, 0, 100)
    salt = need_between("salt_pct", salt_pct, 0, 100)
    kg = need_between("batch_kg", batch_kg, 1e-3, 1e6)
    hold = tables.value("card_hold_C")
    # the guide for any fat begins below freezing, where nothing is chopped on
    chill = {"low": max(low, tables.value("meat_temperature_usual")), "hold": hold}
    filled = {
        "range": show(high, "°C", system)
        if chill["low"] >= high
        else f"{show(chill['low'], '°C', system)} to {show(high, '°C', system)}",
        "high": show(high, "°C", system),
        "fat": f"{fat:.1f} %",
        "step": _weight(kg * tables.value("card_step_pct") / 100, system),
        "salt": _salt(salt, kg, system),
    }
    bowl = (_bowl(row, filled, chill, system) for row in _rows())
    book = catalogue()
    keys = (book.symptom(name).key for name in symptoms) if symptoms is not None else book.symptoms
    return (*bowl, *(_cooked(key, readings or {}) for key in keys))


@lru_cache(maxsize=1)
def _rows() -> tuple[dict[str, str], ...]:
    return tuple(tables.read_rows("diagnosis", "decision_card.csv"))


def _bowl(row: Mapping[str, str], filled: Mapping[str, str], chill, system: str) -> CardRow:
    sign, means, stop, add, go_on = (
        row[name].format_map(filled) for name in ("sign", "means", "stop", "add", "go_on")
    )
    to = chill.get(row["chill"])
    return CardRow(
        row["key"],
        BOWL,
        sign,
        means,
        stop,
        to,
        "no need" if to is None else f"chill to {show(to, '°C', system)} or below",
        add,
        go_on,
        note=row["note"],
        cite=tables.cite(row["source"], row["where"], row["status"]),
        cite_do=tables.cite(row["do_source"], row["do_where"], row["do_status"]),
    )


def _salt(salt_pct: float, batch_kg: float, system: str) -> str:
    least = tables.number("card_least_salt_pct")
    if salt_pct >= least.value:
        return f"salt is {salt_pct:.2f} % of the batter, not below {least.value:g} %: work what is in it"
    missing = _weight(batch_kg * (least.value - salt_pct) / 100, system)
    return f"{missing} of salt are missing to {least.value:g} % of the batter"


def _weight(kg: float, system: str) -> str:
    return (
        show(kg, "kg", system)
        if kg >= 1
        else show(1000 * kg, "g", system, 0 if system == METRIC else None)
    )


def _cooked(key: str, readings: Mapping[str, float]) -> CardRow:
    """A symptom of the catalogue with what still stands for it, given what is known of this batch."""
    symptom, found = catalogue().symptoms[key], diagnose([key], readings)
    job = found.next_jobs[0] if found.next_jobs else None
    causes = [one.cause for one in found.standing[:MOST_CAUSES]]
    return CardRow(
        key,
        COOKED,
        f"{symptom.name}: {symptom.as_seen}",
        be_sure=symptom.be_sure,
        causes=tuple(f"{cause.name}: next time {cause.mend}" for cause in causes),
        measure=f"{job.job.name} ({job.job.minutes:g} min): {job.job.how}" if job else "",
        tells=job.tells if job else (),
        note="; ".join(cause.caution for cause in causes if cause.caution),
        cite=symptom.cite(),
        cite_do="; ".join(dict.fromkeys(cause.cite() for cause in causes)),
    )
