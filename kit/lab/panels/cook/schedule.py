"""A smokehouse schedule and the core temperature."""

from dataclasses import replace

from kit import units
from kit.chain.cook import CAUTIONS, CHILLERS, CookAnswer, answer_of, link_of
from kit.chain.cook_yield import loss_of
from kit.cook import cook
from kit.lab.charts import cook as charts
from kit.lab.lessons.cook import AIR, DRY_RH, START, STEAM, WATER, stages_of
from kit.lab.panels.controls import controls_of
from kit.lab.panels.cook.pieces import (
    INVENTED,
    YIELD,
    ahead_row,
    ahead_soft_K,
    cooling_rows,
    core_row,
    lethal_rows,
    shown,
    water_rows,
)
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.sheets import starting_sheet
from kit.sheet import Sheet
from kit.tables import value

COEFFICIENT = (
    "Heat transfer coefficient: heat flow into each square metre of surface per degree between medium and surface. Here it follows from the air speed, or from still water, by the correlations named "
    "in the sources; for shower and ice bath it is an assumption. Your own value, or one fitted to a log (fit_log), overrides it."
)
PLATEAUS = {  # column: (field of the stage, unit)
    "stage": ("name", ""),
    "air or bath": ("medium_C", "°C"),
    "wet bulb": ("wet_bulb_C", "°C"),
    "heat transfer coefficient": ("h_W_per_m2K", "W/(m² K)"),
    "plateau of a wet surface": ("plateau_C", "°C"),
    "core at the end": ("core_end_C", "°C"),
    "evaporation": ("lost_pct", "%"),
}

OPTIONS = {"cook_in": (AIR, STEAM, WATER), "chill": CHILLERS}


def schedule_panel(sheet: Sheet | None = None) -> Panel:
    """Link, stages, wet bulbs and chill: the core, the skin, the water, and the published rows that the plan would meet."""
    sheet = sheet or starting_sheet()
    base = link_of(sheet)

    def compute(values) -> CookAnswer:
        link = replace(base, **{key: values[key] for key in ("diameter_mm", "start_C")})
        released = values["batter_loss_pct"]
        done = cook(link, stages_of(values), (values["target_C"],), released_pct=released)
        loss = loss_of(done, bool(values["chill_min"]), released or None)
        return answer_of(sheet, done, loss)

    return Panel(
        "Smokehouse schedule and core temperature",
        controls_of("schedule", options=OPTIONS, **START),
        compute,
        schedule_view,
        {"schedule": charts.schedule_chart},
        {
            "Too hot too soon": {"dry_min": 0, "smoke_min": 0},
            "Low humidity": {"dry_wet_C": 25, "smoke_wet_C": 32},
            "Core stalls in a dry cook": {"cook_rh": DRY_RH},
        },
    )


def schedule_view(answer: CookAnswer, values, system) -> View:
    done, target, loss = answer.cooked, answer.cooked.targets[0], answer.loss

    def t(x):
        return units.show(x, "°C", system)

    aim, peak = t(target.target_C), t(target.peak_C)
    if target.reached:
        there = f"The core reaches {aim} after {target.minutes:.0f} min"
    elif target.plateau_C <= target.target_C:
        there = f"The core does not reach {aim}: its maximum is {peak}; a wet surface in {target.hottest_stage} stays at {t(target.plateau_C)}"
    else:
        there = f"The core does not reach {aim} in this time: its maximum is {peak}"
    sentence = f"{there}. Evaporative shrink {loss.evaporated_pct:.1f} %, drip {loss.drip_pct:.1f} %; predicted {YIELD} {loss.cooked_chilled_yield_pct:.1f} % of the raw weight."
    over = ahead_soft_K(done, value("cook_fat_melt_C")) - values["ahead_limit_K"]
    if over > 0:
        sentence += (
            f" The surface-core difference exceeds your limit by {units.show(over, 'K', system)}."
        )
    plateaus = [
        [shown(getattr(stage, name), unit, system, 1) for name, unit in PLATEAUS.values()]
        for stage in done.stages
    ]
    rows = (
        core_row(done, system),
        ahead_row(done, values["ahead_limit_K"], system),
        *water_rows(answer, system, values["loss_limit_pct"]),
        *lethal_rows(answer, system),
        *cooling_rows(answer.cooling),
    )
    drawn = "Temperatures of air or bath, wet bulb, surface and core over the stages."
    return View(
        sentence,
        {"schedule": charts.schedule_data(done, system)},
        {"schedule": f"{drawn} {sentence}"},
        (
            Table("Outcome", COLUMNS, rows),
            Table("Plateau (stall) temperature of each stage", tuple(PLATEAUS), plateaus),
        ),
        notes=(*answer.own_notes, *done.notes, COEFFICIENT, INVENTED),
        steps=answer.working,
        sources=answer.sources,
        cautions=CAUTIONS,
    )
