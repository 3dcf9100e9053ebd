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
    `findings` is None where a spoon was refused."""

    key: str
    short: str
    name: str
    do: str
    written: str
    meant: str
    gives_ppm: tuple[float, float] | None
    meant_ppm: float
    findings: DosingFindings | None

    @property
    def kit_says(self) -> str:
        """ "stop", "check", "no alarm", or "refused": a spoon is no weight, and the reader of amounts takes none."""
        found = self.findings
        if found is None:
            return "refused"
        return "stop" if found.stop else "no alarm" if found.ok else "check"

    @property
    def alone(self) -> bool:
        """Is it seen without a target or any further input?"""
        found = self.findings
        return found is None or any(alarm.key not in BY_TARGET for alarm in found.alarms)


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
    line = CureLine(strong, kg)
    right = Plan(meat_kg, batch_kg, finished_kg, cure=(line,), limits=limits, target_ppm=target_ppm)
    of_batch = target_ppm * meat_kg / batch_kg
    starts = {
        "batch's rate on the meat": replace(right, target_ppm=of_batch, target_basis="batch"),
        "celery powder, no assay": replace(right, cure=(CureLine(weak, weak_kg),)),
    }
    spoons, *spoons_g = _spoons(kg * 1000)
    low, high = (float(nitrite_ppm(g / 1000, strong.strength_pct, meat_kg)) for g in spoons_g)
    by_spoon = (low, high)
    here = limits[0].jurisdiction
    words = {"here": here, "elsewhere": another_rule(here).jurisdiction, "ppm": target_ppm}
    words |= {"g": kg * 1000, "pure_g": pure_kg * 1000, "weak_kg": weak_kg}
    words |= {"rate": kg / meat_kg * 1000, "weak_rate": weak_kg / meat_kg * 1000}
    words |= {"hundredfold_kg": kg * 100, "hundredth_g": kg * 10}
    words |= {"ounces": kg * 1000 / value("ounce_g"), "pounds": meat_kg * 1000 / value("pound_g")}
    words |= {"meat": meat_kg, "batch": batch_kg, "finished": finished_kg}
    words |= {"spoons": spoons, "light_g": spoons_g[0], "heavy_g": spoons_g[1]}
    made = []
    for row in read_rows("cure", "error_examples.csv"):
        key, way, plan = row["key"], row["way"], starts.get(row["short"], right)
        if way == "target":
            plan = replace(plan, target_as="NO2")
        elif way != "spoon":
            plan = make(plan, key, way == "flip", weak) or plan
        found = None if way == "spoon" else find_dosing_errors(plan)
        ppm = found.dose.ppm_of_meat if found else 0.0
        gives = (ppm, ppm) if found else by_spoon
        written, meant = (row[column].format(**words) for column in ("written", "meant"))
        made.append(
            ErrorExample(
                key,
                row["short"],
                *_advice(row, found),
                written,
                meant,
                None if key == "unknown_content" else gives,
                plan.per_meat(plan.target_kg or 0.0),
                found,
            )
        )
    return tuple(made)


def _advice(row: dict[str, str], found: DosingFindings | None) -> tuple[str, str]:
    """Name and what to do: of the error's own explanation, of an alarm where no factor explains it, else of the row."""
    key, name, do = row["key"], row["name"], row["do"] or "within the tolerance of the target"
    if found is None:
        return name, do
    if fit := next((e.error for e in found.explanations if e.key == key), None):
        return fit.name, fit.do
    alarm = next((a for a in found.alarms if a.key == key), next(iter(found.alarms), None))
    return name or key.replace("_", " "), alarm.do if alarm else do


def _spoons(grams: float) -> tuple[int, float, float]:
    """As many teaspoons as the dose might be, and what they hold, g: level and loose, heaped and packed."""
    ml = value("teaspoon_ml")
    light = ml * value("cure_bulk_density_loose_g_per_ml")
    heavy = ml * value("spoon_heap_factor") * value("cure_bulk_density_packed_g_per_ml")
    count = max(round(grams / ((light + heavy) / 2)), 1)
    return count, count * light, count * heavy
