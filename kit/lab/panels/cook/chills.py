"""Ice bath against fridge: the same hot link on its way down."""

from dataclasses import dataclass, replace

import numpy as np

from kit import units
from kit.chain.cook import HOT, PLAN_ONLY, link_of, nitrite_ppm_of
from kit.cook import Cooked, Ice, brine, cook, fridge, ice_bath, ice_to_chill, shower
from kit.lab.charts import cook as charts
from kit.lab.lessons.cook import START, demo_sheet
from kit.lab.panels.cook.pieces import COLUMNS, INVENTED, cooling_rows
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.lethality import Finding, Window, cautions, cooling_findings, trace, windows_for
from kit.sheet import Sheet

STEP_S, LONG_MIN = 40.0, 600.0
BATHS = {
    "stirred ice bath": lambda m, t: ice_bath(m, t),
    "still ice bath": lambda m, t: ice_bath(m, t, still=True),
    "shower": lambda m, t: shower(m, t),
    "flowing brine": lambda m, t: brine(m, min(t, 0.0)),
}


@dataclass(frozen=True, eq=False)
class Chills:
    water: Cooked
    air: Cooked
    ice: Ice
    water_found: tuple[Finding, ...]
    air_found: tuple[Finding, ...]
    windows: tuple[Window, ...]


def _found(done: Cooked, cured: bool, nitrite_ppm: float) -> tuple[Finding, ...]:
    return cooling_findings(
        (trace("computed core", done.minutes * 60, done.core_C),), cured, nitrite_ppm
    )


def chill_panel(sheet: Sheet | None = None) -> Panel:
    """A hot link in water and in a cold room, beside the published windows."""
    sheet = sheet or demo_sheet()
    base, options = link_of(sheet), tuple(dict.fromkeys(w.option for w in windows_for(True)))
    ppm = nitrite_ppm_of(sheet)

    def compute(values) -> Chills:
        link, cured = (
            replace(
                base, diameter_mm=values["diameter_mm"], length_mm=None, start_C=values["hot_C"]
            ),
            values["cured"] == "cured",
        )
        water = cook(
            link,
            [BATHS[values["bath"]](LONG_MIN / 2, values["bath_C"])],
            (values["hot_C"] - 1,),
            step_s=STEP_S,
        )
        air = cook(
            link,
            [fridge(LONG_MIN, values["fridge_C"], humidity_pct=values["fridge_rh"])],
            (values["hot_C"] - 1,),
            step_s=STEP_S,
        )
        need = ice_to_chill(values["kg"], values["hot_C"], values["cold_C"])
        return Chills(
            water,
            air,
            need,
            _found(water, cured, ppm),
            _found(air, cured, ppm),
            windows_for(cured, ppm),
        )

    controls = (
        Slider("diameter_mm", "Stuffed diameter", "mm", 13, 120, 1, START["diameter_mm"], "Link"),
        Slider("hot_C", "Core at the end of the cook", "°C", 60, 85, 0.5, 72, "Link"),
        Slider("kg", "Sausage to chill", "kg", 1, 200, 1, 85, "Link"),
        Choice("cured", "The product is", ("cured", "not cured"), "cured", "Cure"),
        Choice("bath", "Water", tuple(BATHS), "stirred ice bath", "Process"),
        Slider("bath_C", "Water at", "°C", 0, 15, 0.5, 1, "Process"),
        Slider("cold_C", "Ice for a chill to", "°C", 1, 20, 0.5, 4, "Process"),
        Slider("fridge_C", "Cold room at", "°C", 0, 12, 0.5, 3, "Process"),
        Slider("fridge_rh", "Cold room: humidity, %", "", 40, 98, 1, 80, "Process"),
        Choice("option", "Published window shown", options, "rapid", "What is shown"),
    )
    return Panel(
        "Ice bath against fridge",
        controls,
        compute,
        chill_view,
        lambda system: {
            "chill": charts.chill_chart(system),
            "windows": charts.windows_chart(system),
        },
        {
            "Slow chill": {"diameter_mm": 105, "fridge_C": 8},
            "A warm fridge": {"fridge_C": 12},
            "A thick log": {"diameter_mm": 120},
        },
    )


def chill_view(result: Chills, values, system) -> View:
    option = (
        values["option"]
        if any(w.option == values["option"] for w in result.windows)
        else result.windows[0].option
    )
    at = [n for n, w in enumerate(result.windows) if w.option == option]
    parts, water, air = (
        [seq[n] for n in at] for seq in (result.windows, result.water_found, result.air_found)
    )
    end = parts[-1].end_C
    took = [_minutes_to(done, end) for done in (result.water, result.air)]
    shown = ["not within the time shown" if m is None else f"after {m:.0f} min" for m in took]
    late = [
        name
        for name, found in (("water", water), ("cold air", air))
        if any(f.met is False for f in found)
    ]
    verdict = (
        f"{' and '.join(late).capitalize()} {'take' if len(late) > 1 else 'takes'} longer than '{parts[0].title}' prints."
        if late
        else f"Both stay inside '{parts[0].title}', as reckoned."
        if all(f.met for f in (*water, *air))
        else f"'{parts[0].title}' is not shown to its end by both."
    )
    sentence = f"The core is at {units.show(end, '°C', system)} {shown[0]} in water, {shown[1]} in cold air. {verdict} In cold air {result.air.lost_pct:.1f} % of the weight dries away, in water nothing."
    rows = (
        Row(
            (
                "ice for this sausage",
                units.show(result.ice.ice_kg, "kg", system),
                "",
                f"{result.ice.ice_per_kg:.2f} times the sausage",
                "computed; room and tub not counted",
            )
        ),
        Row(("heat to take out", f"{result.ice.heat_kJ / 1000:.1f} MJ", "", "", "computed")),
    )
    lines, bars = charts.chill_data(result.water, result.air, parts, water, air, system)
    note = "Windows are alternatives and belong to their editions: where two sources print different ends, both are shown."
    return View(
        sentence,
        {"chill": lines, "windows": bars},
        {
            "chill": f"Cores cooling. Water: {shown[0]}. Cold air: {shown[1]}.",
            "windows": "Share of the window used. "
            + " ".join(
                f"{n}: {f.verdict}." for n, g in (("water", water), ("air", air)) for f in g
            ),
        },
        (
            Table("In water, every published window", COLUMNS, cooling_rows(result.water_found)),
            Table("In cold air, every published window", COLUMNS, cooling_rows(result.air_found)),
            Table("Ice", COLUMNS, rows),
        ),
        (*result.water.notes, *result.ice.notes, note, INVENTED),
        result.ice.working,
        tuple(
            dict.fromkeys(
                (
                    *(f.source for f in result.air_found),
                    *result.air.sources,
                    *result.water.sources,
                    *result.ice.sources,
                )
            )
        ),
        (cautions.COOLING, PLAN_ONLY, HOT),
    )


def _minutes_to(done: Cooked, level_C: float) -> float | None:
    below = done.core_C <= level_C
    if not below.any():
        return None
    n = int(below.argmax())
    return float(
        np.interp(
            -level_C, -done.core_C[max(n - 1, 0) : n + 1], done.minutes[max(n - 1, 0) : n + 1]
        )
    )
