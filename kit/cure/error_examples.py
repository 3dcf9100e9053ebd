"""Every dosing error, made on purpose to one ordinary dose: what it gives, what was meant, what to do, and whether the kit sees it.

Each is done the way a person would do it and then looked at by `find_dosing_errors`, with the target on the sheet.
"""

from dataclasses import dataclass, replace

from kit.cure.dose import CureLine, premix_kg_for
from kit.cure.findings import Findings, find_dosing_errors
from kit.cure.plan import Plan
from kit.cure.premix import natural_source, premix
from kit.cure.salts import convert
from kit.cure.spoons import cure_line as written_line
from kit.cure.spoons import spoon_ppm, spoon_range_g
from kit.errors import KitError
from kit.rules import Limit
from kit.rules.limits import another_rule
from kit.tables import read_rows, value

BY_TARGET = ("off_target", "two_sources")
"""alarms that need a target on the sheet, or another alarm"""
STRONG, WEAK, PURE = "US curing salt, 6.25 % nitrite", "nitrite salt 0.6 %", "sodium nitrite, pure"


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
    tell: str
    kit_says: str
    alone: bool
    findings: Findings | None


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
    celery = natural_source("celery powder")

    def of(amount, mix=strong, **changes):
        return replace(right, cure=(CureLine(mix, amount),), **changes)

    of_batch = {"target_ppm": target_ppm * meat_kg / batch_kg, "target_basis": "batch"}
    plans = {
        "weak bag's rate, strong bag": of(weak_kg),
        "strong bag's rate, weak bag": of(kg, weak),
        "pure nitrite for premix": of(kg, pure),
        "pure salt's rate, premix": of(pure_kg),
        "percent for fraction": of(kg * 100),
        "fraction for percent": of(kg / 100),
        "grams weighed as ounces": of(kg * ounce),
        "ounces weighed as grams": of(kg / ounce),
        "pounds taken as kilograms": of(kg / pound),
        "kilograms taken as pounds": of(kg * pound),
        "rate taken on the batch": of(kg / meat_kg * batch_kg),
        "rate taken on the finished": of(kg / meat_kg * finished_kg),
        "batch's rate on the meat": of(kg / batch_kg * meat_kg, **of_batch),
        "cure added twice": replace(right, cure=(line, replace(line, via="blend"))),
        "salt's limit read as ion's": of(convert(kg, "NO2", "NaNO2")),
        "ion's limit read as salt's": of(kg, target_as="NO2"),
        "two countries' limits mixed": replace(right, limits=(*limits, *other.limits)),
        "cure forgotten": replace(right, cure=()),
        "celery powder, no assay": of(weak_kg, celery),
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
    made = [
        _example(row, plans[row["short"]], words) for row in read_rows("cure", "error_examples.csv")
    ]
    return (*made, _spoon(right, kg))


def _example(row: dict[str, str], plan: Plan, words: dict[str, str]) -> ErrorExample:
    """One error as `find_dosing_errors` sees it; its own explanation gives name and advice, an alarm where no factor explains it."""
    key, found = row["key"], find_dosing_errors(plan)
    fit = next((e.error for e in found.explanations if e.key == key), None)
    alarm = next((a for a in found.alarms if a.key == key), next(iter(found.alarms), None))
    name, do, tell = row["name"] or key.replace("_", " "), "within the tolerance of the target", ""
    if fit:
        name, do, tell = fit.name, fit.do, fit.tell
    elif alarm:
        do, tell = alarm.do, "what the sheet says"
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
        tell,
        "stop" if found.stop else "no alarm" if found.ok else "check",
        any(a.key not in BY_TARGET for a in found.alarms),
        found,
    )


def _spoon(right: Plan, kg: float) -> ErrorExample:
    """As many teaspoons as the dose might be, read by `spoons.cure_line`, which refuses them."""
    mix, (light, heavy) = right.cure[0].premix, spoon_range_g()
    spoons = max(round(kg * 1000 / ((light + heavy) / 2)), 1)
    try:
        written_line(mix, f"{spoons} tsp", right.meat_kg)
    except KitError:
        return ErrorExample(
            "spoon",
            "teaspoons",
            "spoon measure",
            f"{spoons} teaspoons: {spoons * light:.3g} to {spoons * heavy:.3g} g, by grain, packing and heaping",
            f"{kg * 1000:.4g} g",
            spoon_ppm(spoons, mix, right.meat_kg),
            right.per_meat(right.target_kg or 0.0),
            "never measure cure by volume; weigh it in grams",
            "a scale",
            "refused",
            True,
            None,
        )
    raise AssertionError("a spoon measure was taken for a weight")
