"""The rate that is right for one premix, weighed from another bag."""

from typing import NamedTuple

from kit import units
from kit.cure import CureLine, Plan, cautions, find_dosing_errors
from kit.cure.dose import nitrite_ppm, premix_kg_for
from kit.cure.exposure import Exposure, exposure
from kit.cure.findings import DosingFindings
from kit.cure.premix import premix
from kit.lab.charts import cure as charts
from kit.lab.panels.cure import pieces
from kit.lab.panels.cure.pieces import BY_HAND, MIXES, PURE, USUAL
from kit.lab.panels.panel import Choice, Panel, View


class MixedUp(NamedTuple):
    rate_g_per_kg: float
    findings: DosingFindings
    eaten: Exposure
    bags: tuple[tuple[float, float], ...]


SHELF = tuple(sorted({premix(name).strength_pct for name in BY_HAND}))
"""the strengths on the shelf, weakest first"""


def mix_up_panel() -> Panel:
    """The rate that is right for one premix, weighed from another bag."""
    controls = (
        pieces.MEAT,
        pieces.REST,
        Choice("meant", "The recipe's rate is for", MIXES, "nitrite salt 0.6 %", "Cure"),
        pieces.target("The recipe wants, ppm of the meat"),
        Choice("used", "The bag in your hand", BY_HAND, "nitrite salt 0.6 %", "Cure"),
        pieces.rule_choice(),
    )

    def compute(values) -> MixedUp:
        meat, meant, used = values["meat_kg"], premix(values["meant"]), premix(values["used"])
        rate = float(premix_kg_for(values["target_ppm"], meant.strength_pct, 1.0)) * 1000
        plan = Plan(
            meat,
            meat * (1 + values["rest_pct_of_meat"] / 100),
            cure=(CureLine(used, rate * meat / 1000),),
            limits=pieces.rule_of(values["rule"]),
            target_ppm=values["target_ppm"],
        )
        found = find_dosing_errors(plan)
        bags = tuple((pct, float(nitrite_ppm(rate / 1000, pct, 1.0))) for pct in SHELF)
        return MixedUp(rate, found, exposure(found.dose.ppm_of_batch), bags)

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
        lambda system: {"bags": charts.bags_chart(system, SHELF)},
        presets,
    )


def mix_up_view(mixed: MixedUp, values, system) -> View:
    found, eaten = mixed.findings, mixed.eaten
    ppm, ceiling = found.dose.ppm_of_meat, found.room_ppm_of_meat[1]
    rate = units.show(mixed.rate_g_per_kg, "g/kg", system, 2 if system == units.METRIC else 3)
    times = ppm / values["target_ppm"]
    verdict = f"{times:.3g} times what the recipe wants"
    if abs(times - 1) < 0.001:
        verdict = "what the recipe wants"
    what = ""
    if found.stop:
        what = f"{ppm / ceiling:.3g} times the ceiling: do not weigh it; no list is printed."
    elif times < 0.95:
        what = f"Below what is wanted; {cautions.TOO_LITTLE}."
    sentence = f"{rate} is right for {values['meant']}. From {values['used']} it gives {ppm:.0f} ppm: {verdict}. {what}"
    used, meant = (premix(values[which]).strength_pct for which in ("used", "meant"))
    return View(
        sentence.strip(),
        {"bags": charts.bags_data(mixed.bags, used, meant, found.room_ppm_of_meat)},
        tables=(*pieces.error_tables(found), pieces.over_table(found, eaten)),
        notes=(pieces.law(values), *found.notes, *eaten.notes),
        steps=(*found.working, *eaten.working),
        sources=(*found.sources, *eaten.sources),
        cautions=(cautions.NITRITE, cautions.STRENGTH, cautions.POISONED, cautions.LAW),
    )
