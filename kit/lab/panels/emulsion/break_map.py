"""Two factors at once: the cook-out over any two of them, the limit of the model, and this batch."""

from kit import units
from kit.chain.emulsion import EmulsionAnswer
from kit.emulsion.break_map import BreakMap, break_map
from kit.emulsion.factors import FACTORS
from kit.emulsion.spread import LEAST_DRAWS
from kit.errors import need
from kit.lab.charts import break_map as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.emulsion.batch import (
    BREAKS,
    batch_answer,
    batch_controls,
    calibration_of,
    saved_control,
)
from kit.lab.panels.emulsion.words import cautions, kilograms, margins_words
from kit.lab.panels.panel import Panel, View

POINTS = 61
AXES = tuple((factor.label, name) for name, factor in FACTORS.items())
RANGES = {
    "fat_pct": (5.0, 40.0),
    "collagen_pct": (5.0, 50.0),
    "core_C": (60.0, 95.0),
    "drop_um": (2.0, 60.0),
    "salt_pct": (0.0, 3.0),
}
"""where a map is drawn: a part of what was tried, with the batch near the middle"""


def break_map_panel() -> Panel:
    """The map over two axes of the person's choice."""

    def compute(values) -> tuple[EmulsionAnswer, BreakMap]:
        across, up = values["across"], values["up"]
        need(across != up, f"both axes are {FACTORS[up].label!r}; choose two different ones")
        answer, own = batch_answer(values, draws=LEAST_DRAWS), calibration_of(values["calibration"])
        ranges = (RANGES.get(across), RANGES.get(up))
        return answer, break_map(answer.batter, across, up, own, POINTS, *ranges)

    colours = tuple((words, key) for key, words in charts.SHOWN.items())
    options = {"across": AXES, "up": AXES, "shown": colours}
    axes = controls_of("break map", options=options, across="end_C", up="fat_pct")
    return Panel(
        "Cook-out map of two factors",
        (*batch_controls(), *axes, saved_control()),
        compute,
        map_view,
        {"map": charts.map_chart},
        {
            **BREAKS,
            "Salt against ice": {"across": "ice_g", "up": "salt_pct"},
            "Globule diameter against salt": {"across": "drop_um", "up": "salt_pct"},
        },
    )


def map_view(result: tuple[EmulsionAnswer, BreakMap], values, system) -> View:
    answer, found = result
    factors = (found.across, found.up)
    axis_units = tuple(factor.unit if factor.unit == "°C" else "" for factor in factors)
    at = [_shown(value, factor.unit, system) for value, factor in zip(found.point, factors)]
    here = " and ".join(f"{factor.label} {value}" for factor, value in zip(factors, at))
    grams, what = getattr(answer.held, values["shown"]), charts.SHOWN[values["shown"]]
    notes = [
        "The limit is that of the model with every number at its central value: read it as a broad band, not as a line."
    ]
    if "ice_g" in (values["across"], values["up"]):
        notes.append(
            "Ice counts only as water here; its cooling of the batter is part of the chopping model."
        )
    return View(
        f"Teaching model at {here}: {what} {grams:.1f} % of the raw batter ({kilograms(answer, grams, system)}). "
        f"{margins_words(answer)}",
        {"map": charts.map_data(found, values["shown"], system, axis_units)},
        notes=(*notes, *answer.described.notes),
        steps=answer.working,
        sources=answer.sources,
        cautions=cautions(),
    )


def _shown(value: float, unit: str, system: str) -> str:
    return units.show(value, "°C", system) if unit == "°C" else f"{value:.1f} {unit}"
