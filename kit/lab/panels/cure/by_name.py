"""Every trap of dosing by its name, done on purpose to one ordinary batch."""

from dataclasses import dataclass

from kit import allergens, units
from kit.cure import Trap, cautions, editions, traps_by_name, usual_edition
from kit.cure.limits import Band, band
from kit.lab.charts import cure_slips as charts
from kit.lab.panels.cure.pieces import ppm, rule_choice, rule_of, trap_tables
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View


@dataclass(frozen=True)
class Named:
    traps: tuple[Trap, ...]
    room: Band
    meat_kg: float
    batch_kg: float


SAYS = {
    "stop": "STOP",
    "check": "check",
    "refused": "refused",
    "no alarm": "no alarm: within the tolerance",
}


def traps_panel() -> Panel:
    """One ordinary dose, and every slip of the trade done to it."""

    def compute(values) -> Named:
        meat, limits = values["meat_kg"], rule_of(values["rule"])
        batch = meat * (1 + values["rest_pct_of_meat"] / 100)
        done = batch * values["cook_yield_pct"] / 100
        return Named(
            traps_by_name(meat, batch, done, values["target_ppm"], limits),
            band(limits, meat, batch, done),
            meat,
            batch,
        )

    names = tuple(trap.short for trap in traps_by_name(50, 69, 62, 140, usual_edition().limits))
    controls = (
        Slider("meat_kg", "Meat block", "kg", 5, 200, 1, 50, "Meat block"),
        Slider(
            "rest_pct_of_meat",
            "Ice and all else, % of meat",
            "",
            10,
            80,
            1,
            38,
            "Ice, binder, spice",
        ),
        Slider("target_ppm", "The sheet wants, ppm of the meat", "", 80, 200, 1, 140, "Cure"),
        Slider("cook_yield_pct", "Cook yield, %", "", 75, 100, 0.5, 90, "Process"),
        Choice(
            "trap", "The trap", tuple((name, n) for n, name in enumerate(names)), 0, "What is shown"
        ),
        rule_choice(),
    )
    presets = {
        "Pure nitrite for premix": {"trap": names.index("pure nitrite for premix")},
        "Grams read as ounces": {"trap": names.index("grams weighed as ounces")},
        "Cure in the spice blend too": {"trap": names.index("cure added twice")},
        "By the spoon": {"trap": names.index("teaspoons")},
    }
    return Panel(
        "Every trap by name",
        controls,
        compute,
        traps_view,
        lambda system: {"slips": charts.slips_chart(system)},
        presets,
    )


def traps_view(named: Named, values, system) -> View:
    trap = named.traps[values["trap"]]
    meat, batch = (units.show(kg, "kg", system, 1) for kg in (named.meat_kg, named.batch_kg))
    gives = (
        "nobody knows how many ppm"
        if trap.gives_ppm is None
        else f"{charts.gives_words(trap)} ppm of the meat"
    )
    seen = (
        ""
        if trap.alone or trap.kit_says == "no alarm"
        else " Only the target on the sheet shows it: the dose lies inside the range."
    )
    sentence = (
        f"{trap.name[:1].upper()}{trap.name[1:]}. On {meat} of meat, what was written gives {gives}; what was meant gives {ppm(trap.meant_ppm)}. "
        f"{SAYS[trap.kit_says][:1].upper()}{SAYS[trap.kit_says][1:]}: {trap.do}.{seen}"
    )
    table = Table(
        f"Every trap, on {meat} of meat in {batch} of batch; ppm NaNO2 of the meat",
        ("trap", "as written", "gives", "what was meant", "gives", "the kit", "what to do"),
        tuple(
            Row(
                (
                    t.name,
                    t.written,
                    charts.gives_words(t),
                    t.meant,
                    ppm(t.meant_ppm),
                    _says(t),
                    t.do,
                ),
                "strong" if t is trap else "",
            )
            for t in named.traps
        ),
        folded=True,
    )
    room = tuple(kg * 1e6 / named.meat_kg for kg in (named.room.low_kg, named.room.high_kg))
    found = trap.findings
    notes = (
        "a slip that lands inside the range is seen only against a target on the sheet; the column of the kit says where",
        editions()[values["rule"]].in_words,
        *(found.notes if found else ()),
    )
    return View(
        sentence,
        {"slips": charts.slips_data(named.traps, values["trap"], room)},
        {"slips": charts.slips_text(named.traps)},
        (*(trap_tables(found) if found else ()), table),
        notes,
        found.working if found else (),
        found.sources if found else (),
        (
            cautions.NITRITE,
            cautions.STRENGTH,
            cautions.WEIGH,
            cautions.NATURAL,
            cautions.LAW,
            allergens.caution(("celery powder",)),
        ),
    )


def _says(trap: Trap) -> str:
    return (
        SAYS[trap.kit_says]
        if trap.alone or trap.kit_says == "no alarm"
        else f"{SAYS[trap.kit_says]}, with a target only"
    )
