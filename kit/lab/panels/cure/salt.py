"""Salt with the cure's own, the brine before and after the cook, and what that water activity stops."""

from dataclasses import dataclass

import numpy as np

from kit import units
from kit.cure import Brine, aw_of_brine, aw_quadratic, brine, cautions, premix, premix_kg_for
from kit.lab.charts import cure as charts
from kit.lab.panels.cure.pieces import MIXES, USUAL
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.tables import value


@dataclass(frozen=True)
class Salted:
    raw: Brine
    finished: Brine
    cure_kg: float
    cure_salt_kg: float


def brine_panel() -> Panel:
    """Salt with the cure's own, the brine before and after the cook, and what that water activity stops."""
    controls = (
        Slider("meat_kg", "Meat block", "kg", 5, 200, 1, 50, "Meat block"),
        Slider("water_pct_of_meat", "Water of the meat, %", "", 45, 75, 1, 58, "Meat block"),
        Slider("ice_pct_of_meat", "Ice, % of meat", "", 0, 60, 1, 30, "Ice"),
        Slider(
            "dry_pct_of_meat", "Binder and spice, % of meat", "", 0, 12, 0.5, 5, "Binder and salt"
        ),
        Slider(
            "salt_pct_of_batch", "Salt put in, % of batch", "", 0, 12, 0.1, 1.9, "Binder and salt"
        ),
        Choice("mix", "Premix in the bag", MIXES, USUAL, "Cure"),
        Slider("target_ppm", "Nitrite, ppm of the meat", "", 80, 200, 1, 140, "Cure"),
        Slider("cook_yield_pct", "Cook yield, %", "", 75, 100, 0.5, 90, "Process"),
    )

    def compute(values) -> Salted:
        meat, mix = values["meat_kg"], premix(values["mix"])
        cure = float(premix_kg_for(values["target_ppm"], mix.strength_pct, meat))
        batch = (
            meat * (1 + (values["ice_pct_of_meat"] + values["dry_pct_of_meat"]) / 100) + cure
        ) / (1 - values["salt_pct_of_batch"] / 100)
        water = meat * (values["water_pct_of_meat"] + values["ice_pct_of_meat"]) / 100
        own = cure * mix.salt_pct / 100
        salt, lost = (
            batch * values["salt_pct_of_batch"] / 100,
            batch * (1 - values["cook_yield_pct"] / 100),
        )
        return Salted(
            brine(salt, water, batch, own), brine(salt, water, batch, own, lost), cure, own
        )

    presets = {
        "Salt alone against Listeria": {"salt_pct_of_batch": 9},
        "The cure is the salt": {"mix": "nitrite salt 0.6 %", "salt_pct_of_batch": 0.2},
        "Forgot the cure's own salt": {"mix": "nitrite salt 0.6 %", "salt_pct_of_batch": 1.9},
    }
    return Panel(
        "Salt, brine and water activity",
        controls,
        compute,
        brine_view,
        lambda system: {"aw": charts.aw_chart(system), "salt": charts.salt_chart(system)},
        presets,
    )


def _curves():
    w = np.linspace(0, 22, 89)
    return (w, aw_of_brine(w)), (w, aw_quadratic(w))


def brine_view(salted: Salted, values, system) -> View:
    raw, done = salted.raw, salted.finished
    stopped = [g.organism for g in done.growth if g.stopped]
    says = (
        "Salt alone stops none of the organisms listed"
        if not stopped
        else f"That is below every published floor for growth of {', '.join(stopped)}, and of no other listed, in food that nobody would eat"
    )
    share = 100 * salted.cure_salt_kg / max(done.salt_kg, 1e-12)
    sentence = (
        f"The cook takes the brine from {raw.brine_pct:.1f} to {done.brine_pct:.1f} % salt in the water, water activity {raw.aw:.3f} to {done.aw:.3f}. "
        f"{says}. {share:.0f} % of the salt came with the cure."
    )
    usual = tuple(value(f"frankfurter_brine_{end}_pct") for end in ("low", "high"))
    quick = "past its end (0.92)" if done.aw_quadratic is None else f"{done.aw_quadratic:.4f}"
    off = (
        ""
        if done.aw_difference is None
        else f"{done.aw_difference:+.4f} beside Pitzer".replace("-", "−")
    )
    amounts = Table(
        "Before and after the cook",
        ("", "raw batter", "finished"),
        (
            Row(
                (
                    "salt, the cure's own counted",
                    units.show(raw.salt_kg, "kg", system),
                    units.show(done.salt_kg, "kg", system),
                )
            ),
            Row(
                (
                    "water",
                    units.show(raw.water_kg, "kg", system),
                    units.show(done.water_kg, "kg", system),
                )
            ),
            Row(("salt, % of the weight", f"{raw.salt_pct:.2f}", f"{done.salt_pct:.2f}")),
            Row(
                ("salt in the water phase, %", f"{raw.brine_pct:.2f}", f"{done.brine_pct:.2f}"),
                "strong",
            ),
            Row(("the same as degrees salometer", f"{raw.salometer:.1f}", f"{done.salometer:.1f}")),
            Row(
                (
                    "ionic strength, mol per kg of product",
                    f"{raw.ionic_strength:.2f}",
                    f"{done.ionic_strength:.2f}",
                )
            ),
            Row(("water activity by Pitzer, 25 °C", f"{raw.aw:.4f}", f"{done.aw:.4f}"), "strong"),
            Row(
                (
                    "water activity by the quadratic",
                    "past its end (0.92)"
                    if raw.aw_quadratic is None
                    else f"{raw.aw_quadratic:.4f}",
                    f"{quick} {off}".strip(),
                )
            ),
            Row(
                (
                    "sodium from salt, mg per 100 g",
                    f"{raw.sodium_mg_per_100g:.0f}",
                    f"{done.sodium_mg_per_100g:.0f}",
                )
            ),
        ),
    )
    growth = Table(
        f"What this water activity alone does; growth figures: {'; '.join(dict.fromkeys(g.source for g in done.growth))}",
        (
            "organism",
            "seen to grow down to",
            "published range",
            "salt alone",
            "brine that reaches it",
        ),
        tuple(
            Row(
                (
                    g.organism,
                    f"{g.least_aw:g}",
                    f"{g.low_aw:g} to {g.high_aw:g}",
                    "below every figure" if g.stopped else "✗ can grow",
                    f"{_brine_for(g.least_aw):.1f} % salt in the water",
                ),
                "" if g.stopped else "fails",
            )
            for g in done.growth
        ),
    )
    return View(
        sentence,
        {
            "aw": charts.aw_data(*_curves(), raw, done, usual),
            "salt": charts.salt_data(raw, done, salted.cure_salt_kg),
        },
        {"aw": charts.aw_text(raw, done), "salt": charts.salt_text(raw, done)},
        (amounts, growth),
        done.notes,
        (*raw.working[:1], *done.working),
        done.sources,
        (cautions.SALT_ALONE, cautions.NITRITE, cautions.LAW),
    )


_STRENGTHS = np.linspace(0, 26, 2601)


def _brine_for(aw: float) -> float:
    """Brine strength, %, at which Pitzer gives this water activity."""
    return float(np.interp(-aw, -aw_of_brine(_STRENGTHS), _STRENGTHS))
