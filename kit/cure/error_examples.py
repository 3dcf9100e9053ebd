"""Every dosing error, made on purpose to one ordinary dose: what it gives, what was meant, what to do, and whether the kit sees it.

Each is done the way a person would do it and then looked at by `find_dosing_errors`, with the target on the sheet.
"""

from dataclasses import dataclass, replace

from kit.cure.dose import CureLine, premix_kg_for
from kit.cure.findings import Findings, find_dosing_errors
from kit.cure.limits import Limit, another_rule
from kit.cure.plan import Plan
from kit.cure.premix import natural_source, premix
from kit.cure.salts import convert
from kit.cure.spoons import cure_line as written_line
from kit.cure.spoons import spoon_ppm, spoon_range_g
from kit.errors import KitError
from kit.tables import value

BY_TARGET = ("off_target", "two_sources")
"""alarms that need a target on the sheet, or another alarm"""
STRONG, WEAK, PURE = "US curing salt, 6.25 % nitrite", "nitrite salt 0.6 %", "sodium nitrite, pure"
_NAMES = {
    "forgotten": "cure forgotten",
    "mixed_rules": "limits of two jurisdictions mixed",
    "unknown_content": "celery-type source, never assayed",
}
"""of errors that are no factor on the dose, where the key does not say it"""


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
    rate, weak_rate = kg / meat_kg * 1000, weak_kg / meat_kg * 1000
    ounce, pound = value("ounce_g"), value("pound_g") / 1000
    right = Plan(
        meat_kg,
        batch_kg,
        finished_kg,
        cure=(CureLine(strong, kg),),
        limits=limits,
        target_ppm=target_ppm,
    )
    of_batch_ppm = target_ppm * meat_kg / batch_kg
    here, other = limits[0].jurisdiction, another_rule(limits[0].jurisdiction)
    g, g_per_kg, weak_g_per_kg = f"{kg * 1000:.4g} g", f"{rate:.3g} g/kg", f"{weak_rate:.3g} g/kg"
    meat, batch, done = (f"{base:.4g} kg" for base in (meat_kg, batch_kg, finished_kg))
    ppm = f"{target_ppm:.4g} ppm"
    celery = natural_source("celery powder")

    def of(amount, mix=strong, **changes):
        return replace(right, cure=(CureLine(mix, amount),), **changes)

    made = (
        (
            "other_premix: weak bag's rate, strong bag",
            of(weak_kg),
            f"{weak_g_per_kg}, the rate of a 0.6 % salt, weighed from a 6.25 % bag",
            g_per_kg,
        ),
        (
            "other_premix: strong bag's rate, weak bag",
            of(kg, weak),
            f"{g_per_kg}, the rate of a 6.25 % cure, weighed from a 0.6 % bag",
            weak_g_per_kg,
        ),
        (
            "pure_for_premix: pure nitrite for premix",
            of(kg, pure),
            f"{g} from the jar of pure nitrite",
            f"{g} of a 6.25 % cure",
        ),
        (
            "premix_for_pure: pure salt's rate, premix",
            of(pure_kg),
            f"{pure_kg * 1000:.3g} g, the rate of the pure salt, weighed from a 6.25 % bag",
            g,
        ),
        (
            "percent_for_fraction: percent for fraction",
            of(kg * 100),
            f"{kg * 100:.4g} kg: 0.0625 put in where the sum wants 6.25",
            g,
        ),
        (
            "percent_for_fraction: fraction for percent",
            of(kg / 100),
            f"{kg * 10:.3g} g: 6.25 put in where the sum wants 0.0625",
            g,
        ),
        (
            "ounces_for_grams: grams weighed as ounces",
            of(kg * ounce),
            f"{kg * 1000:.4g} oz weighed",
            g,
        ),
        (
            "ounces_for_grams: ounces weighed as grams",
            of(kg / ounce),
            f"{kg * 1000 / ounce:.3g} g weighed",
            f"{kg * 1000 / ounce:.3g} oz",
        ),
        (
            "pounds_for_kilograms: pounds taken as kilograms",
            of(kg / pound),
            f"dosed for {meat_kg / pound:.4g} kg",
            f"{meat_kg / pound:.4g} lb of meat",
        ),
        (
            "pounds_for_kilograms: kilograms taken as pounds",
            of(kg * pound),
            f"dosed for {meat_kg:.4g} lb",
            f"{meat} of meat",
        ),
        (
            "batch_base: rate taken on the batch",
            of(kg / meat_kg * batch_kg),
            f"the rate taken on the batch, {batch}",
            f"on the meat, {meat}",
        ),
        (
            "finished_base: rate taken on the finished",
            of(kg / meat_kg * finished_kg),
            f"the rate taken on the finished weight, {done}",
            f"on the meat, {meat}",
        ),
        (
            "meat_base: batch's rate on the meat",
            of(kg / batch_kg * meat_kg, target_ppm=of_batch_ppm, target_basis="batch"),
            f"a rate for the batch taken on the meat, {meat}",
            f"on the batch, {batch}",
        ),
        (
            "added_twice: cure added twice",
            replace(right, cure=(CureLine(strong, kg), CureLine(strong, kg, via="blend"))),
            f"{g}, and as much in the seasoning blend",
            "one of the two",
        ),
        (
            "ion_for_salt: salt's limit read as ion's",
            of(convert(kg, "NO2", "NaNO2")),
            f"{ppm}, meant as the salt, weighed as if it were the ion",
            f"{ppm} as NaNO2",
        ),
        (
            "ion_for_salt: ion's limit read as salt's",
            of(kg, target_as="NO2"),
            f"{ppm}, meant as the ion, weighed as if it were the salt",
            f"{ppm} as NO2",
        ),
        (
            "mixed_rules: two countries' limits mixed",
            replace(right, limits=(*limits, *other.limits)),
            f"limits of {here} and of {other.jurisdiction} on one sheet",
            "one rule",
        ),
        ("forgotten: cure forgotten", replace(right, cure=()), "no cure line", g),
        (
            "unknown_content: celery powder, no assay",
            of(weak_kg, celery),
            f"{weak_kg:.3g} kg of celery powder without an assay",
            ppm,
        ),
    )
    return (*(_example(*one) for one in made), _spoon(right, kg))


def _example(name: str, plan: Plan, written: str, meant: str) -> ErrorExample:
    """One error as `find_dosing_errors` sees it; its own explanation gives name and advice, an alarm where no factor explains it."""
    key, short = name.split(": ")
    found = find_dosing_errors(plan)
    fit = next((e.error for e in found.explanations if e.key == key), None)
    alarm = next((a for a in found.alarms if a.key == key), next(iter(found.alarms), None))
    do, tell = "within the tolerance of the target", ""
    long = _NAMES.get(key, key.replace("_", " "))
    if fit:
        do, tell, long = fit.do, fit.tell, fit.name
    elif alarm:
        do, tell = alarm.do, "what the sheet says"
    ppm = found.dose.ppm_of_meat
    return ErrorExample(
        key,
        short,
        long,
        written,
        meant,
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
