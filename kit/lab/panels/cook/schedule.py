"""A schedule against the core."""

from dataclasses import replace

from kit import units
from kit.chain.cook import (
    CAUTIONS,
    CHILLERS,
    CookAnswer,
    answer_of,
    link_of,
    nitrite_ppm_of,
    product_of,
)
from kit.chain.cook_yield import loss_of
from kit.cook import Stage, air, cook, hot_water, steam
from kit.errors import need
from kit.lab.charts import cook as charts
from kit.lab.lessons.cook import DRY_RH, START, demo_sheet
from kit.lab.panels.cook.pieces import (
    COLUMNS,
    INVENTED,
    YIELD,
    ahead_row,
    ahead_soft_K,
    cooling_rows,
    core_row,
    lethal_rows,
    water_rows,
)
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.meat_block import compose
from kit.sheet import Sheet
from kit.tables import value

COEFFICIENT = (
    "Coefficient: watts into each square metre of skin for each kelvin between medium and skin. Here it follows from the air's speed, or from still water, by the correlations named "
    "in the sources; of shower and ice bath it is an assumption. A number of your own, or one learned from a log (fit_log), goes before it."
)
AIR, STEAM, WATER = "house air", "live steam", "hot water"


def stages_of(values) -> tuple[Stage, ...]:
    """The sliders as a schedule; a stage of 0 minutes is left out."""
    speed, found = values["speed"], []
    for key, name in (("dry", "dry"), ("smoke", "smoke")):
        if values[f"{key}_min"]:
            found.append(
                air(
                    values[f"{key}_min"],
                    values[f"{key}_C"],
                    wet_bulb_C=values[f"{key}_wet_C"],
                    speed_m_per_s=speed,
                    name=name,
                )
            )
    if values["cook_min"]:
        minutes, hot = values["cook_min"], values["cook_C"]
        found.append(
            {
                AIR: lambda: air(
                    minutes, hot, humidity_pct=values["cook_rh"], speed_m_per_s=speed, name="cook"
                ),
                STEAM: lambda: steam(minutes, hot, speed_m_per_s=speed, name="cook"),
                WATER: lambda: hot_water(minutes, hot, name="cook"),
            }[values["cook_in"]]()
        )
    need(bool(found), "every stage of the cook is 0 minutes long; lengthen at least one")
    if values["chill_min"]:
        found.append(CHILLERS[values["chill"]](values["chill_min"], name="chill"))
    return tuple(found)


def house_sliders():
    return (
        Slider("dry_min", "Dry: minutes", "", 0, 30, 1, START["dry_min"], "Process"),
        Slider("dry_C", "Dry: air", "°C", 40, 100, 1, START["dry_C"], "Process"),
        Slider("dry_wet_C", "Dry: wet bulb", "°C", 20, 80, 1, START["dry_wet_C"], "Process"),
        Slider("smoke_min", "Smoke: minutes", "", 0, 45, 1, START["smoke_min"], "Process"),
        Slider("smoke_C", "Smoke: air", "°C", 40, 100, 1, START["smoke_C"], "Process"),
        Slider("smoke_wet_C", "Smoke: wet bulb", "°C", 20, 80, 1, START["smoke_wet_C"], "Process"),
        Choice("cook_in", "Cook in", (AIR, STEAM, WATER), AIR, "Process"),
        Slider("cook_min", "Cook: minutes", "", 0, 50, 1, START["cook_min"], "Process"),
        Slider("cook_C", "Cook: air, steam or water", "°C", 60, 105, 1, START["cook_C"], "Process"),
        Slider(
            "cook_rh", "Cook: humidity of the air, %", "", 5, 100, 1, START["cook_rh"], "Process"
        ),
        Slider("speed", "Air past the links", "m/s", 0.2, 6, 0.1, START["speed"], "Process"),
    )


def schedule_panel(sheet: Sheet | None = None) -> Panel:
    """Link, stages, wet bulbs and chill: the core, the skin, the water, and the printed rows that the plan would meet."""
    sheet = sheet or demo_sheet()
    base, product, cured = link_of(sheet), product_of(sheet), bool(sheet.kg_of("cure"))
    fat = float(compose(sheet.materials, sheet.kg).fat_pct)

    def compute(values) -> CookAnswer:
        link = replace(
            base,
            diameter_mm=values["diameter_mm"],
            length_mm=values["length_mm"],
            start_C=values["start_C"],
        )
        released = values["batter_loss_pct"]
        done = cook(link, stages_of(values), (values["target_C"],), released_pct=released)
        return answer_of(
            done,
            sheet.name,
            product,
            cured,
            loss_of(done, bool(values["chill_min"]), released or None),
            fat,
            nitrite_ppm=nitrite_ppm_of(sheet),
        )

    controls = (
        Slider("diameter_mm", "Stuffed diameter", "mm", 13, 60, 0.5, START["diameter_mm"], "Link"),
        Slider("length_mm", "Link length", "mm", 25, 200, 5, START["length_mm"], "Link"),
        Slider("start_C", "Goes in at", "°C", 0, 25, 0.5, START["start_C"], "Link"),
        Slider(
            "batter_loss_pct",
            "Water released by the batter, % (lesson 04)",
            "",
            0,
            20,
            0.1,
            0,
            "Link",
        ),
        *house_sliders(),
        Choice("chill", "Chill", tuple(CHILLERS), "shower", "Process"),
        Slider("chill_min", "Chill: minutes", "", 0, 35, 1, START["chill_min"], "Process"),
        Slider(
            "target_C", "Core to reach", "°C", 55, 80, 0.5, START["target_C"], "Limits of your own"
        ),
        Slider(
            "loss_limit_pct",
            "Water lost at most, %",
            "",
            2,
            25,
            0.5,
            START["loss_limit_pct"],
            "Limits of your own",
        ),
        Slider(
            "ahead_limit_K",
            "Skin ahead of a soft core at most",
            "K",
            5,
            60,
            1,
            START["ahead_limit_K"],
            "Limits of your own",
        ),
    )
    return Panel(
        "The schedule against the core",
        controls,
        compute,
        schedule_view,
        lambda system: {
            "schedule": charts.schedule_chart(system),
            "loss": charts.loss_chart(system),
        },
        {
            "Too hot too soon": {"dry_min": 0, "smoke_min": 0},
            "Dry house": {"dry_wet_C": 25, "smoke_wet_C": 32},
            "Held back by a dry cook": {"cook_rh": DRY_RH},
            "A thick link": {"diameter_mm": 55},
        },
    )


def schedule_view(answer: CookAnswer, values, system) -> View:
    done, target = answer.cooked, answer.cooked.targets[0]
    melts = value("cook_fat_melt_C")
    aim = units.show(target.target_C, "°C", system)
    there = (
        f"The core is at {aim} after {target.minutes:.0f} min"
        if target.reached
        else f"The core never comes to {aim}: it stops at {units.show(target.peak_C, '°C', system)}, and {target.hottest_stage} holds a wet skin at {units.show(target.holds_C, '°C', system)}"
        if target.holds_C <= target.target_C
        else f"The core never comes to {aim} in this time: it stops at {units.show(target.peak_C, '°C', system)}"
    )
    sentence = f"{there}. {answer.loss.evaporated_pct:.1f} % of the weight evaporates and {answer.loss.drip_pct:.1f} % drips; the models' {YIELD} is {answer.loss.cooked_chilled_yield_pct:.1f} % of the raw weight."
    over = ahead_soft_K(done, melts) - values["ahead_limit_K"]
    if over > 0:
        sentence += f" The skin is {units.show(over, 'K', system)} further ahead of a soft core than you allow."
    plateaus = Table(
        "Where each stage would come to rest",
        (
            "stage",
            "air or bath",
            "wet bulb",
            "coefficient",
            "a wet skin would rest at",
            "core at its end",
            "water lost",
        ),
        tuple(_stage_row(s, system) for s in done.stages),
    )
    ends = Row(
        (
            "ends bring the middle ahead of this long-link answer by",
            f"at most {units.show(done.ends_ahead_K, 'K', system)}",
            "",
            "",
            "computed, product rule",
        )
    )
    rows = (
        core_row(answer, system),
        ends,
        ahead_row(done, values["ahead_limit_K"], system),
        *water_rows(answer, system, values["loss_limit_pct"]),
        *lethal_rows(answer, system),
        *cooling_rows(answer.cooling),
    )
    return View(
        sentence,
        {"schedule": charts.schedule_data(done, system), "loss": charts.loss_data(done)},
        {"schedule": charts.schedule_text(done), "loss": charts.loss_text(done)},
        (Table("Outcome", COLUMNS, rows), plateaus),
        (*answer.notes, COEFFICIENT, INVENTED),
        answer.working,
        answer.sources,
        CAUTIONS,
    )


def _stage_row(s, system):
    wet = "" if s.wet_bulb_C is None else units.show(s.wet_bulb_C, "°C", system)
    return Row(
        (
            s.name,
            units.show(s.medium_C, "°C", system),
            wet,
            f"{s.h_W_per_m2K:.0f} W/(m² K)",
            units.show(s.holds_C, "°C", system),
            units.show(s.core_end_C, "°C", system),
            f"{s.lost_pct:.1f} %",
        )
    )
