"""What the nitrite is for, what an overnight rest does, and what remains."""

from typing import NamedTuple

from kit.cure import cautions, cure_for
from kit.cure.colour import MEATS, Colour, colour, myoglobin_mg_per_g
from kit.cure.limits import judge
from kit.cure.premix import premix
from kit.cure.salts import convert
from kit.lab.charts import cure_left as charts
from kit.lab.panels.cure.pieces import USUAL, verdict_row
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.rules.limits import all_limits
from kit.rules.verdicts import Verdict


class Coloured(NamedTuple):
    colour: Colour
    verdicts: tuple[Verdict, ...]


def colour_panel() -> Panel:
    """What the colour needs, and what is left: ranges and measurements, no prediction."""
    left = "Nitrite left, ppm (0: not measured)"
    controls = (
        Choice("meat", "Meat", MEATS, "pork", "Meat block"),
        Slider("dose_ppm", "Nitrite put in, ppm of the meat", "", 0, 200, 1, 140, "Cure"),
        Slider("measured_ppm", left, "", 0, 180, 1, 0, "Measured in the product"),
    )

    def compute(values) -> Coloured:
        dose_ppm = values["dose_ppm"]
        limits = tuple(
            row for row in all_limits() if row.quantity == "nitrite residual" and row.in_force()
        )
        dosed = cure_for(dose_ppm, premix(USUAL), meat_kg=1, batch_kg=1.4)
        verdicts = judge(dosed, limits, residual_ppm=values["measured_ppm"] or None)
        return Coloured(colour(myoglobin_mg_per_g(values["meat"]), dose_ppm), verdicts)

    presets = {
        "Less than the pigment takes": {"meat": "old beef", "dose_ppm": 60},
        "Too much is left": {"measured_ppm": 130},
    }
    return Panel(
        "Colour, rest, and what remains",
        controls,
        compute,
        colour_view,
        lambda system: {"left": charts.left_chart(system)},
        presets,
    )


def colour_view(found: Coloured, values, system) -> View:
    need, measured = found.colour, values["measured_ppm"] or None
    low, high = need.after_cook_ppm
    over = [v for v in found.verdicts if v.holds is False]
    rest = "What is left in yours, only a measurement tells."
    if over:
        rest = (
            f"✗ {measured:.0f} ppm was measured in the product, more than {over[0].limit.in_words}."
        )
    elif measured:
        rest = f"{measured:.0f} ppm was measured in the product, inside the limits shown."
    sentence = (
        f"One nitric oxide on each pigment of {values['meat']} takes {need.needed_ppm_of_meat:.0f} ppm; {values['dose_ppm']:.0f} is {need.times_needed:.1f} times that. "
        f"After cooking {low:.0f} to {high:.0f} ppm are commonly left. {rest}"
    )
    judged = Table(
        "Limits on what is left: they need a measurement",
        COLUMNS,
        tuple(verdict_row(v) for v in found.verdicts),
    )
    an_overnight_rest = Table(
        "What an overnight rest in the cold is for",
        ("", "the rest"),
        tuple(Row(row, "strong" if row[0] == "safety" else "") for row in cautions.REST_ROWS),
        folded=True,
    )
    limits = [
        (convert(v.limit.limit, v.limit.as_salt, "NaNO2"), f"{v.limit.jurisdiction} limit")
        for v in found.verdicts
    ]
    return View(
        sentence,
        {"left": charts.left_data(need, values["dose_ppm"], measured, limits)},
        tables=(judged, an_overnight_rest),
        notes=(*need.notes, *(v.note for v in found.verdicts if v.note)),
        steps=need.working,
        sources=(*need.sources, *(v.source for v in found.verdicts)),
        cautions=(cautions.RESIDUAL, cautions.NITRITE, cautions.LAW),
    )
