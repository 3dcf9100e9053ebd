"""Salt with that of the cure, the brine before and after the cook, and growth at that water activity."""

import numpy as np

from kit import units
from kit.cure import brine, cautions
from kit.cure.brine import Brine, aw_of_brine
from kit.cure.dose import premix_kg_for
from kit.cure.premix import premix
from kit.lab.charts import cure_salt as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.cure import pieces
from kit.lab.panels.panel import Panel, Table, View, row
from kit.tables import value


def brine_panel() -> Panel:
    """Salt with that of the cure, the brine before and after the cook, and growth at that water activity."""
    meat, *cure = pieces.cure_controls("meat_kg", "mix", "target_ppm", "cook_yield_pct")
    controls = (meat, *controls_of("brine"), *cure)

    def compute(values) -> tuple[Brine, Brine, float]:
        meat, mix = values["meat_kg"], premix(values["mix"])
        salt_share = values["salt_pct_of_batch"] / 100
        cure = float(premix_kg_for(values["target_ppm"], mix.strength_pct, meat))
        added = (values["ice_pct_of_meat"] + values["dry_pct_of_meat"]) / 100
        batch = (meat * (1 + added) + cure) / (1 - salt_share)
        water = meat * (values["water_pct_of_meat"] + values["ice_pct_of_meat"]) / 100
        own, salt = cure * mix.salt_pct / 100, batch * salt_share
        lost = batch * (1 - values["cook_yield_pct"] / 100)
        raw, done = (brine(salt, water, batch, own, kg) for kg in (0.0, lost))
        return raw, done, own

    presets = {
        "Salt alone against Listeria": {"salt_pct_of_batch": 9},
        "Forgot the cure's own salt": {"mix": "nitrite salt 0.6 %", "salt_pct_of_batch": 2.0},
    }
    return Panel(
        "Salt, brine and water activity",
        controls,
        compute,
        brine_view,
        {"aw": charts.aw_chart},
        presets,
    )


def brine_view(salted: tuple[Brine, Brine, float], values, system) -> View:
    raw, done, cure_salt_kg = salted
    stopped = [g.organism for g in done.growth if g.stopped]
    says = "Salt alone stops none of the organisms listed"
    if stopped:
        says = f"This is below the published minimum for growth of {', '.join(stopped)} only, at a salt content that is not edible"
    share = 100 * cure_salt_kg / max(done.salt_kg, 1e-12)
    sentence = (
        f"Salt in the water phase: {raw.brine_pct:.1f} % before the cook, {done.brine_pct:.1f} % after; water activity {raw.aw:.3f} and {done.aw:.3f}. "
        f"{says}. {share:.0f} % of the salt comes from the cure."
    )
    w = np.linspace(0, 22, 89)
    usual = tuple(value(f"frankfurter_brine_{end}_pct") for end in ("low", "high"))
    aw = charts.aw_data((w, aw_of_brine(w)), raw, done, usual)
    return View(
        sentence,
        {"aw": aw},
        tables=(_amounts(raw, done, system),),
        steps=raw.working[:1],
        cautions=(cautions.SALT_ALONE, cautions.NITRITE, cautions.LAW),
    ).of(done)


def _amounts(raw: Brine, done: Brine, system: str) -> Table:
    def both(what, words, mark=""):
        return row(what, words(raw), words(done), mark=mark)

    def kg(amount: float) -> str:
        return units.show(amount, "kg", system)

    return Table(
        "Before and after the cook",
        ("quantity", "raw batter", "finished product"),
        (
            both("salt, with that of the cure", lambda b: kg(b.salt_kg)),
            both("water", lambda b: kg(b.water_kg)),
            both("salt, % of weight", lambda b: f"{b.salt_pct:.2f}"),
            both("salt in the water phase, %", lambda b: f"{b.brine_pct:.2f}", "strong"),
            both("water activity (Pitzer equation, 25 °C)", lambda b: f"{b.aw:.4f}", "strong"),
            both("sodium from salt, mg per 100 g", lambda b: f"{b.sodium_mg_per_100g:.0f}"),
        ),
    )
