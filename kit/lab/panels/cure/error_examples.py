"""Every dosing error by its name, made on purpose to one ordinary batch."""

import re
from typing import NamedTuple

from kit import allergens, units
from kit.cure import cautions
from kit.cure.dose import Bases
from kit.cure.error_examples import ErrorExample, error_examples
from kit.cure.exposure import Exposure, exposure
from kit.cure.limits import band
from kit.lab.charts import cure_errors as charts
from kit.lab.panels.cure import pieces
from kit.lab.panels.cure.pieces import ppm
from kit.lab.panels.panel import Panel, View
from kit.rules.limits import usual_edition


class Examples(NamedTuple):
    examples: tuple[ErrorExample, ...]
    room_ppm: tuple[float, float]
    bases: Bases
    eaten: Exposure | None
    """of the one chosen; None where its dose cannot be known or is nothing"""


SAYS = {
    "stop": "STOP",
    "check": "check",
    "refused": "refused",
    "no alarm": "no alarm, within the tolerance",
}


def error_examples_panel() -> Panel:
    """One ordinary dose, and every dosing error made to it."""

    def compute(values) -> Examples:
        meat, limits = values["meat_kg"], pieces.rule_of(values["rule"])
        batch = meat * (1 + values["rest_pct_of_meat"] / 100)
        bases = Bases(meat, batch, batch * values["cook_yield_pct"] / 100)
        allowed = band(limits, bases)
        room = bases.per_meat(allowed.low_kg), bases.per_meat(allowed.high_kg)
        made = error_examples(*bases.weights, values["target_ppm"], limits)
        found = made[values["example"]].findings
        ppm_of_batch = found.dose.ppm_of_batch if found else 0.0
        return Examples(made, room, bases, exposure(ppm_of_batch) if ppm_of_batch else None)

    names = [one.short for one in error_examples(50, 69, 62, 140, usual_edition().limits)]
    numbered = tuple((name, n) for n, name in enumerate(names))
    batch = ("meat_kg", "rest_pct_of_meat", "target_ppm", "cook_yield_pct")
    start = names.index("rate taken on the batch")
    keys, options = (*batch, "example", "rule"), {"example": numbered}
    controls = pieces.cure_controls(*keys, options=options, example=start)
    presets = {
        "Weak bag's rate, strong bag": {"example": names.index("weak bag's rate, strong bag")},
        "Strong bag's rate, weak bag": {"example": names.index("strong bag's rate, weak bag")},
    }
    return Panel(
        "Dosing errors",
        controls,
        compute,
        error_examples_view,
        {"errors": charts.errors_chart},
        presets,
    )


def error_examples_view(made: Examples, values, system) -> View:
    one, found = made.examples[values["example"]], made.examples[values["example"]].findings
    meat = units.show(made.bases.meat_kg, "kg", system, 1)
    gives = f"{charts.gives_words(one)} ppm of the meat"
    if one.gives_ppm is None:
        gives = "an unknown dose"
    says = SAYS[one.kit_says]
    written, meant = one.written, one.meant
    if one.name.startswith(("Ounces", "Pounds", "ounces", "pounds")):
        written, meant = (
            re.sub(r" (kg|g|lb|oz)\b", "\u00a0\\1", text) for text in (written, meant)
        )
    sentence = (
        f"{one.name[:1].upper()}{one.name[1:]}: {written}; intended: {meant}. On {meat} of meat this gives {gives} instead of {ppm(one.meant_ppm)}. "
        f"{says[:1].upper()}{says[1:]}: {one.do}."
    )
    if not _seen(one):
        sentence += (
            " The dose is within the allowed range, so only a target on the sheet shows this error."
        )
    eaten = made.eaten
    multiples = (pieces.over_table(found, eaten),) if found and eaten else ()
    notes = (
        "A dosing error within the allowed range is found only with a target on the sheet.",
        pieces.law(values),
    )
    return View(
        sentence,
        {"errors": charts.errors_data(made.examples, values["example"], made.room_ppm)},
        tables=(*(pieces.error_tables(found) if found else ()), *multiples),
        notes=notes,
        cautions=(
            cautions.NITRITE,
            cautions.STRENGTH,
            cautions.WEIGH,
            cautions.POISONED,
            cautions.NATURAL,
            cautions.LAW,
            allergens.caution(("celery powder",)),
        ),
    ).of(found, eaten)


def _seen(one: ErrorExample) -> bool:
    """Is it seen without a target, or nothing to be seen?"""
    return one.alone or one.kit_says == "no alarm"
