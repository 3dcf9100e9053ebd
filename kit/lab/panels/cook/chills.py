"""Ice bath against fridge: the same hot link on its way down."""

from dataclasses import dataclass, replace
from math import isfinite

from kit import units
from kit.chain.cook import HOT, PLAN_ONLY, link_of, nitrite_ppm_of
from kit.cook import cook
from kit.cook.cooked import Cooked, first_reached
from kit.cook.ice import Ice, ice_to_chill
from kit.cook.stages import brine, fridge, ice_bath, shower
from kit.lab.charts import cook as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.cook.pieces import INVENTED, cooling_rows
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.sheets import starting_sheet
from kit.lethality import cautions, trace
from kit.lethality.findings import RowFinding, cooling_findings
from kit.lethality.published import Window, windows_for
from kit.sheet import Sheet

STEP_S, LONG_MIN = 40.0, 600.0
BATHS = {
    "stirred ice bath": lambda m, t: ice_bath(m, t),
    "still ice bath": lambda m, t: ice_bath(m, t, still=True),
    "shower": lambda m, t: shower(m, t),
    "flowing brine": lambda m, t: brine(m, min(t, 0.0)),
}
ALTERNATIVES = "Published cooling limits are alternatives and belong to their editions; where two sources print different temperatures, both are shown."


@dataclass(frozen=True, eq=False)
class Chills:
    water: Cooked
    air: Cooked
    ice: Ice
    water_found: tuple[RowFinding, ...]
    air_found: tuple[RowFinding, ...]
    windows: tuple[Window, ...]


def chill_panel(sheet: Sheet | None = None) -> Panel:
    """A hot link in water and in a cold room, with the published cooling limits."""
    sheet = sheet or starting_sheet()
    base, ppm = link_of(sheet), nitrite_ppm_of(sheet)

    def compute(values) -> Chills:
        hot, cured = values["hot_C"], values["cured"] == "cured"
        link = replace(base, diameter_mm=values["diameter_mm"], start_C=hot)
        bath = BATHS[values["bath"]](LONG_MIN / 2, values["bath_C"])
        room = fridge(LONG_MIN, values["fridge_C"], humidity_pct=values["fridge_rh"])
        done = [cook(link, [stage], (hot - 1,), step_s=STEP_S) for stage in (bath, room)]
        cores = [trace("computed core", each.minutes * 60, each.core_C) for each in done]
        found = [cooling_findings((core,), cured, ppm) for core in cores]
        ice = ice_to_chill(values["kg"], hot, values["cold_C"])
        return Chills(*done, ice, *found, windows_for(cured, ppm))

    options = {
        "cured": ("cured", "not cured"),
        "bath": BATHS,
        "option": dict.fromkeys(window.option for window in windows_for(True)),
    }
    return Panel(
        "Chilling: ice bath and cold room",
        controls_of("chilling", options=options, option="rapid"),
        compute,
        chill_view,
        {"chill": charts.chill_chart},
        {"Slow chill": {"diameter_mm": 105, "fridge_C": 8}, "Warm cold room": {"fridge_C": 12}},
    )


def chill_view(result: Chills, values, system) -> View:
    options = [window.option for window in result.windows]
    option = values["option"] if values["option"] in options else options[0]
    shown = [n for n, each in enumerate(options) if each == option]
    parts, water, air = (
        [each[n] for n in shown] for each in (result.windows, result.water_found, result.air_found)
    )
    end, title = parts[-1].end_C, parts[0].title
    in_water, in_air = (_when(done, end) for done in (result.water, result.air))
    both = (("water", water), ("cold air", air))
    late = [name for name, found in both if any(f.met is False for f in found)]
    if late:
        verb = "take" if len(late) > 1 else "takes"
        verdict = f"{' and '.join(late).capitalize()} {verb} longer than the limit '{title}'."
    elif all(f.met for f in (*water, *air)):
        verdict = f"Both are calculated to stay within the limit '{title}'."
    else:
        verdict = f"Not both finish the limit '{title}' in the time shown."
    aim, ice = units.show(end, "°C", system), result.ice
    sentence = f"The core reaches {aim} {in_water} in water, {in_air} in cold air. {verdict} Chill loss: {result.air.lost_pct:.1f} % of the weight in cold air, none in water."
    times = f"{ice.ice_per_kg:.2f} times the sausage"
    said = "computed; heat gain from room and tub not counted"
    rows = (
        ("ice needed", units.show(ice.ice_kg, "kg", system), "", times, said),
        ("heat to remove", f"{ice.heat_kJ / 1000:.1f} MJ", "", "", "computed"),
    )
    parts_of = (*result.air_found, result.air, result.water, ice)
    return View(
        sentence,
        {"chill": charts.chill_data(result.water, result.air, parts, system)},
        tables=(
            *(
                Table(
                    f"Chilling in {how}: every published cooling limit",
                    COLUMNS,
                    cooling_rows(found),
                )
                for how, found in (("water", result.water_found), ("cold air", result.air_found))
            ),
            Table("Ice", COLUMNS, rows),
        ),
        notes=(*result.water.notes, *ice.notes, ALTERNATIVES, INVENTED),
        steps=ice.working,
        sources=tuple(source for part in parts_of for source in part.sources),
        cautions=(cautions.COOLING, PLAN_ONLY, HOT),
    )


def _when(done: Cooked, level_C: float) -> str:
    """When the core is down at a temperature, in words."""
    down = float(first_reached(done.minutes, -done.core_C[:, None], -level_C)[0])
    return f"after {down:.0f} min" if isfinite(down) else "not within the time shown"
