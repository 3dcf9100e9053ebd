"""Every trap by its name, done on purpose to one ordinary dose: what it gives, what was meant, what to do, and whether the kit sees it.

Each trap is done the way a person would do it and then looked at by `find_traps`, with the target on the sheet.
"""

from dataclasses import dataclass, replace

from kit.cure.dose import CureLine, premix_kg_for
from kit.cure.premix import natural_source, premix
from kit.cure.salts import convert
from kit.cure.spoons import cure_line as written_line
from kit.cure.spoons import spoon_ppm, spoon_range_g
from kit.cure.traps import Findings, Plan, find_traps
from kit.errors import KitError
from kit.rules.limits import Limit, another_rule
from kit.tables import value

BY_TARGET = ("off_target", "two_sources")
"""alarms that need a target on the sheet, or another alarm"""
STRONG, WEAK, PURE = "US curing salt, 6.25 % nitrite", "nitrite salt 0.6 %", "sodium nitrite, pure"


@dataclass(frozen=True)
class Trap:
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


def traps_by_name(
    meat_kg: float,
    batch_kg: float,
    finished_kg: float,
    target_ppm: float,
    limits: tuple[Limit, ...],
) -> tuple[Trap, ...]:
    """The traps of dosing on one batch that wants `target_ppm` NaNO2 of the meat under `limits`, in the order in which they are taught.

    Raises OutOfRange for impossible weights. A batch of 500 kg or more may take pure nitrite by hand and is looked at like any other.
    """
    strong, weak, pure = premix(STRONG), premix(WEAK), premix(PURE)
    kg, weak_kg, pure_kg = (
        float(premix_kg_for(target_ppm, mix.strength_pct, meat_kg)) for mix in (strong, weak, pure)
    )
    rate, weak_rate = kg / meat_kg * 1000, weak_kg / meat_kg * 1000
    ounce, pound = value("ounce_g"), value("pound_g") / 1000
    right = Plan(meat_kg, batch_kg, (CureLine(strong, kg),), finished_kg, limits, target_ppm)
    per_batch = replace(right, target_ppm=target_ppm * meat_kg / batch_kg, target_basis="batch")
    here = limits[0].jurisdiction
    other = another_rule(here)

    def with_kg(amount, mix=strong):
        return replace(right, cure=(CureLine(mix, amount),))

    g = f"{kg * 1000:.4g} g"
    found = [
        _trap(
            "other_premix",
            "weak bag's rate, strong bag",
            with_kg(weak_kg),
            f"{weak_rate:.3g} g/kg, the rate of a 0.6 % salt, weighed from a 6.25 % bag",
            f"{rate:.3g} g/kg",
        ),
        _trap(
            "other_premix",
            "strong bag's rate, weak bag",
            with_kg(kg, weak),
            f"{rate:.3g} g/kg, the rate of a 6.25 % cure, weighed from a 0.6 % bag",
            f"{weak_rate:.3g} g/kg",
        ),
        _trap(
            "pure_for_premix",
            "pure nitrite for premix",
            with_kg(kg, pure),
            f"{g} from the jar of pure nitrite",
            f"{g} of a 6.25 % cure",
        ),
        _trap(
            "premix_for_pure",
            "pure salt's rate, premix",
            with_kg(pure_kg),
            f"{pure_kg * 1000:.3g} g, the rate of the pure salt, weighed from a 6.25 % bag",
            g,
        ),
        _trap(
            "percent_for_fraction",
            "percent for fraction",
            with_kg(kg * 100),
            f"{kg * 100:.4g} kg: 0.0625 put in where the sum wants 6.25",
            g,
        ),
        _trap(
            "percent_for_fraction",
            "fraction for percent",
            with_kg(kg / 100),
            f"{kg * 10:.3g} g: 6.25 put in where the sum wants 0.0625",
            g,
        ),
        _trap(
            "ounces_for_grams",
            "grams weighed as ounces",
            with_kg(kg * ounce),
            f"{kg * 1000:.4g} oz weighed",
            f"{g}",
        ),
        _trap(
            "ounces_for_grams",
            "ounces weighed as grams",
            with_kg(kg / ounce),
            f"{kg * 1000 / ounce:.3g} g weighed",
            f"{kg * 1000 / ounce:.3g} oz",
        ),
        _trap(
            "pounds_for_kilograms",
            "pounds taken as kilograms",
            with_kg(kg / pound),
            f"dosed for {meat_kg / pound:.4g} kg",
            f"{meat_kg / pound:.4g} lb of meat",
        ),
        _trap(
            "pounds_for_kilograms",
            "kilograms taken as pounds",
            with_kg(kg * pound),
            f"dosed for {meat_kg:.4g} lb",
            f"{meat_kg:.4g} kg of meat",
        ),
        _trap(
            "batch_base",
            "rate taken on the batch",
            with_kg(kg / meat_kg * batch_kg),
            f"the rate taken on the batch, {batch_kg:.4g} kg",
            f"on the meat, {meat_kg:.4g} kg",
        ),
        _trap(
            "finished_base",
            "rate taken on the finished",
            with_kg(kg / meat_kg * finished_kg),
            f"the rate taken on the finished weight, {finished_kg:.4g} kg",
            f"on the meat, {meat_kg:.4g} kg",
        ),
        _trap(
            "meat_base",
            "batch's rate on the meat",
            replace(per_batch, cure=(CureLine(strong, kg / batch_kg * meat_kg),)),
            f"a rate for the batch taken on the meat, {meat_kg:.4g} kg",
            f"on the batch, {batch_kg:.4g} kg",
        ),
        _trap(
            "added_twice",
            "cure added twice",
            replace(right, cure=(CureLine(strong, kg), CureLine(strong, kg, via="blend"))),
            f"{g}, and as much in the seasoning blend",
            "one of the two",
        ),
        _trap(
            "ion_for_salt",
            "salt's limit read as ion's",
            with_kg(convert(kg, "NO2", "NaNO2")),
            f"{target_ppm:.4g} ppm, meant as the salt, weighed as if it were the ion",
            f"{target_ppm:.4g} ppm as NaNO2",
        ),
        _trap(
            "ion_for_salt",
            "ion's limit read as salt's",
            replace(with_kg(kg), target_ppm=target_ppm, target_as="NO2"),
            f"{target_ppm:.4g} ppm, meant as the ion, weighed as if it were the salt",
            f"{target_ppm:.4g} ppm as NO2",
        ),
        _trap(
            "mixed_rules",
            "two countries' limits mixed",
            replace(right, limits=(*limits, *other.limits)),
            f"limits of {here} and of {other.jurisdiction} on one sheet",
            "one rule",
            name="limits of two jurisdictions mixed",
        ),
        _trap(
            "forgotten",
            "cure forgotten",
            replace(right, cure=()),
            "no cure line",
            g,
            name="cure forgotten",
        ),
        _trap(
            "unknown_content",
            "celery powder, no assay",
            replace(right, cure=(CureLine(natural_source("celery powder"), weak_kg),)),
            f"{weak_kg:.3g} kg of celery powder without an assay",
            f"{target_ppm:.4g} ppm",
            name="celery-type source, never assayed",
        ),
        _spoon(right, kg),
    ]
    return tuple(found)


def _trap(key: str, short: str, plan: Plan, written: str, meant: str, name: str = "") -> Trap:
    """One trap as `find_traps` sees it; its own explanation gives name, doses and advice, an alarm where no factor explains it."""
    found = find_traps(plan)
    fit = next((e for e in found.explanations if e.key == key), None)
    alarm = next((a for a in found.alarms if a.key == key), next(iter(found.alarms), None))
    wanted = plan.target_kg * 1e6 / plan.meat_kg
    gives = None if key == "unknown_content" else (found.dose.ppm_of_meat, found.dose.ppm_of_meat)
    says = "stop" if found.stop else "no alarm" if found.ok else "check"
    do, tell = (
        (fit.do, fit.tell)
        if fit
        else (alarm.do, "what the sheet says")
        if alarm
        else ("within the tolerance of the target", "")
    )
    return Trap(
        key,
        short,
        fit.name if fit else name or key.replace("_", " "),
        written,
        meant,
        gives,
        wanted,
        do,
        tell,
        says,
        any(a.key not in BY_TARGET for a in found.alarms),
        found,
    )


def _spoon(right: Plan, kg: float) -> Trap:
    """As many teaspoons as the dose might be, read by `spoons.cure_line`, which refuses them."""
    mix, (light, heavy) = right.cure[0].premix, spoon_range_g()
    spoons = max(round(kg * 1000 / ((light + heavy) / 2)), 1)
    try:
        written_line(mix, f"{spoons} tsp", right.meat_kg)
    except KitError:
        return Trap(
            "spoon",
            "teaspoons",
            "spoon measure",
            f"{spoons} teaspoons: {spoons * light:.3g} to {spoons * heavy:.3g} g, by grain, packing and heaping",
            f"{kg * 1000:.4g} g",
            spoon_ppm(spoons, mix, right.meat_kg),
            right.target_kg * 1e6 / right.meat_kg,
            "never measure cure by volume; weigh it in grams",
            "a scale",
            "refused",
            True,
            None,
        )
    raise AssertionError("a spoon measure was taken for a weight")
