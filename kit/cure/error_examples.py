"""Every dosing error, made on purpose to one ordinary dose: what it gives, what was meant, what to do, and whether the kit sees it.

Each is done the way a person would do it and then looked at by `find_dosing_errors`, with the target on the sheet.
"""

from dataclasses import dataclass, replace

from kit.cure.dose import CureLine, nitrite_ppm, premix_kg_for
from kit.cure.findings import DosingFindings, find_dosing_errors
from kit.cure.mistakes import PURE, STRONG, make
from kit.cure.plan import Plan
from kit.cure.premix import premix
from kit.rules.limits import Limit, another_rule
from kit.tables import read_rows, value

BY_TARGET = ("off_target", "two_sources")
"""alarms that need a target on the sheet, or another alarm"""
WEAK = "nitrite salt 0.6 %"


@dataclass(frozen=True)
class ErrorExample:
    """`short`: its name in a list. `written`: what stands on the sheet. `gives_ppm`: (low, high) NaNO2 of the meat, None where it cannot be known; `meant_ppm`: what was meant.
    `kit_says`: "stop", "check", "refused"; `alone`: is it seen without a target or any further input? `findings` is None where a spoon was refused."""

    key: str
    short: str
    name: str
    written: str
    meant: str
    gives_ppm: tuple[float, float] | None
    meant_ppm: float
    do: str
    kit_says: str
    alone: bool
    findings: DosingFindings | None


def error_examples(
    meat_kg: float,
    batch_kg: float,
    finished_kg: float,
    target_ppm: float,
    limits: tuple[Limit, ...],
) -> tuple[ErrorExample, ...]:
    """The dosing errors on one batch, in the order in which they are taught.

    meat_kg, batch_kg, finished_kg: the bases, kg.
    target_ppm: what the batch wants, mg NaNO2 per kg of the meat.
    limits: the rows of the rule that holds.
    Raises OutOfRange for impossible weights. From 500 kg on pure nitrite may be weighed by hand and is looked at like any other.
    """
    strong, weak, pure = premix(STRONG), premix(WEAK), premix(PURE)
    kg, weak_kg, pure_kg = (
        float(premix_kg_for(target_ppm, mix.strength_pct, meat_kg)) for mix in (strong, weak, pure)
    )
    ounce, pound = value("ounce_g"), value("pound_g") / 1000
    line = CureLine(strong, kg)
    right = Plan(meat_kg, batch_kg, finished_kg, cure=(line,), limits=limits, target_ppm=target_ppm)
    other = another_rule(limits[0].jurisdiction)
    of_batch = target_ppm * meat_kg / batch_kg
    starts = {
        "batch's rate on the meat": replace(right, target_ppm=of_batch, target_basis="batch"),
        "celery powder, no assay": replace(right, cure=(CureLine(weak, weak_kg),)),
    }
    words = {
        "g": f"{kg * 1000:.4g}",
        "rate": f"{kg / meat_kg * 1000:.3g} g/kg",
        "weak_rate": f"{weak_kg / meat_kg * 1000:.3g} g/kg",
        "weak_kg": f"{weak_kg:.3g}",
        "pure_g": f"{pure_kg * 1000:.3g}",
        "hundredfold_kg": f"{kg * 100:.4g}",
        "hundredth_g": f"{kg * 10:.3g}",
        "ounces": f"{kg * 1000 / ounce:.3g}",
        "pounds": f"{meat_kg / pound:.4g}",
        "meat": f"{meat_kg:.4g}",
        "batch": f"{batch_kg:.4g}",
        "finished": f"{finished_kg:.4g}",
        "ppm": f"{target_ppm:.4g}",
        "here": limits[0].jurisdiction,
        "elsewhere": other.jurisdiction,
    }
    made = []
    for row in read_rows("cure", "error_examples.csv"):
        start = starts.get(row["short"], right)
        if row["way"] == "target":
            plan = replace(start, target_as="NO2")
        else:
            plan = make(start, row["key"], row["way"] == "flip", weak) or start
        made.append(_example(row, plan, words))
    return (*made, _spoon(right, kg))


def _example(row: dict[str, str], plan: Plan, words: dict[str, str]) -> ErrorExample:
    """One error as `find_dosing_errors` sees it; its own explanation gives name and advice, an alarm where no factor explains it."""
    key, found = row["key"], find_dosing_errors(plan)
    fit = next((e.error for e in found.explanations if e.key == key), None)
    alarm = next((a for a in found.alarms if a.key == key), next(iter(found.alarms), None))
    name, do = row["name"] or key.replace("_", " "), "within the tolerance of the target"
    if fit:
        name, do = fit.name, fit.do
    elif alarm:
        do = alarm.do
    ppm = found.dose.ppm_of_meat
    return ErrorExample(
        key,
        row["short"],
        name,
        row["written"].format(**words),
        row["meant"].format(**words),
        None if key == "unknown_content" else (ppm, ppm),
        plan.per_meat(plan.target_kg or 0.0),
        do,
        "stop" if found.stop else "no alarm" if found.ok else "check",
        any(a.key not in BY_TARGET for a in found.alarms),
        found,
    )


def _spoon(right: Plan, kg: float) -> ErrorExample:
    """As many teaspoons as the dose might be: level and loose to heaped and packed. A spoon is no weight: the reader of amounts refuses it."""
    mix, ml = right.cure[0].premix, value("teaspoon_ml")
    light = ml * value("cure_bulk_density_loose_g_per_ml")
    heavy = ml * value("spoon_heap_factor") * value("cure_bulk_density_packed_g_per_ml")
    spoons = max(round(kg * 1000 / ((light + heavy) / 2)), 1)
    low, high = (
        float(nitrite_ppm(spoons * g / 1000, mix.strength_pct, right.meat_kg))
        for g in (light, heavy)
    )
    return ErrorExample(
        "spoon",
        "teaspoons",
        "spoon measure",
        f"{spoons} teaspoons: {spoons * light:.3g} to {spoons * heavy:.3g} g, by grain, packing and heaping",
        f"{kg * 1000:.4g} g",
        (low, high),
        right.per_meat(right.target_kg or 0.0),
        "never measure cure by volume; weigh it in grams",
        "refused",
        True,
        None,
    )
