"""The rate that is right for one premix, weighed from another bag."""

from dataclasses import dataclass

from kit import units
from kit.cure import (
    CureLine,
    Exposure,
    Findings,
    Plan,
    cautions,
    editions,
    exposure,
    find_traps,
    premix,
    premix_kg_for,
    premix_mix_up,
)
from kit.lab.charts import cure as charts
from kit.lab.panels.cure.pieces import (
    BY_HAND,
    MIXES,
    PURE,
    USUAL,
    over_table,
    rule_choice,
    rule_of,
    trap_tables,
)
from kit.lab.panels.panel import Choice, Panel, Slider, View


@dataclass(frozen=True)
class MixedUp:
    rate_g_per_kg: float
    findings: Findings
    eaten: Exposure
    bags: tuple[tuple[float, float], ...]
    marks: tuple[tuple[float, str], ...]


SHELF = {
    premix(name).strength_pct: premix(name)
    for name in sorted(BY_HAND, key=lambda name: premix(name).strength_pct)
}
"""one premix of each strength, weakest first"""


def mix_up_panel() -> Panel:
    """The rate that is right for one premix, weighed from another bag."""
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
        Choice("meant", "The recipe's rate is for", MIXES, "nitrite salt 0.6 %", "Cure"),
        Slider("target_ppm", "The recipe wants, ppm of the meat", "", 80, 200, 1, 140, "Cure"),
        Choice("used", "The bag in your hand", BY_HAND, "nitrite salt 0.6 %", "Cure"),
        rule_choice(),
    )

    def compute(values) -> MixedUp:
        meat, meant, used = values["meat_kg"], premix(values["meant"]), premix(values["used"])
        rate = float(premix_kg_for(values["target_ppm"], meant.strength_pct, 1.0)) * 1000
        batch = meat * (1 + values["rest_pct_of_meat"] / 100)
        plan = Plan(
            meat,
            batch,
            (CureLine(used, rate * meat / 1000),),
            None,
            rule_of(values["rule"]),
            values["target_ppm"],
        )
        found = find_traps(plan)
        bags = tuple((pct, float(premix_mix_up(rate, mix))) for pct, mix in SHELF.items())
        ceiling = found.band.high_kg * 1e6 / meat
        marks = tuple((times * ceiling, f"{times} times|the ceiling") for times in (10, 100))
        return MixedUp(rate, found, exposure(found.dose.ppm_of_batch), bags, marks)

    presets = {
        "Weak bag's rate, strong bag": {"used": USUAL},
        "Strong bag's rate, weak bag": {"meant": USUAL, "used": "nitrite salt 0.6 %"},
        "Pure nitrite for premix": {"meant": USUAL, "used": PURE},
    }
    return Panel(
        "The wrong bag",
        controls,
        compute,
        mix_up_view,
        lambda system: {"bags": charts.bags_chart(system, tuple(SHELF))},
        presets,
    )


def mix_up_view(mixed: MixedUp, values, system) -> View:
    found, eaten = mixed.findings, mixed.eaten
    ppm = found.dose.ppm_of_meat
    rate = units.show(mixed.rate_g_per_kg, "g/kg", system, 2 if system == units.METRIC else 3)
    start = f"{rate} is right for {values['meant']}. From {values['used']} it gives {ppm:.0f} ppm"
    times = ppm / values["target_ppm"]
    same = abs(times - 1) < 0.001
    verdict = "what the recipe wants" if same else f"{times:.3g} times what the recipe wants"
    over = ppm * found.dose.meat_kg / 1e6 / found.band.high_kg
    what = (
        f"{over:.3g} times the ceiling: do not weigh it; no list is printed."
        if found.stop
        else f"Below what is wanted; {cautions.TOO_LITTLE}."
        if times < 0.95
        else ""
    )
    sentence = f"{start}: {verdict}. {what}".strip()
    band = found.band
    room = tuple(kg * 1e6 / found.dose.meat_kg for kg in (band.low_kg, band.high_kg))
    return View(
        sentence,
        {
            "bags": charts.bags_data(
                mixed.bags,
                premix(values["used"]).strength_pct,
                premix(values["meant"]).strength_pct,
                room,
                mixed.marks,
            )
        },
        {"bags": charts.bags_text(mixed.bags, premix(values["used"]).strength_pct)},
        (*trap_tables(found), over_table(found, eaten)),
        (editions()[values["rule"]].in_words, *found.notes, *eaten.notes),
        (*found.working, *eaten.working),
        (*found.sources, *eaten.sources),
        (cautions.NITRITE, cautions.STRENGTH, cautions.POISONED, cautions.LAW),
    )
