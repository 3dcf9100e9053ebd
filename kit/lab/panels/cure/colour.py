"""What the nitrite is for, what an overnight rest does, and what remains."""

from dataclasses import dataclass

from kit.cure import cautions, cure_for
from kit.cure.colour import (
    Pigment,
    cured_pigment_ppm,
    myoglobin_mg_per_g,
    pigment,
    total_pigment_ppm,
)
from kit.cure.limits import judge
from kit.cure.premix import premix
from kit.cure.residual import Residual, residual
from kit.cure.salts import convert
from kit.lab.charts import cure_left as charts
from kit.lab.panels.cure.pieces import OUTCOME, USUAL, rows, verdict_row
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.rules.limits import Limit, all_limits
from kit.rules.verdicts import Verdict
from kit.tables import number, value


@dataclass(frozen=True)
class Coloured:
    need: Pigment
    left: Residual
    limits: tuple[Limit, ...]
    verdicts: tuple[Verdict, ...]


MEATS = ("pork", "veal", "calf", "young beef", "old beef", "lamb", "average")
_MEASURED = "Measured in the product"


def colour_panel() -> Panel:
    """What the colour needs, what was cured, and what is left: ranges and measurements, no prediction."""
    left = "Nitrite left, ppm (0: not measured)"
    controls = (
        Choice("meat", "Meat", MEATS, "pork", "Meat block"),
        Slider("dose_ppm", "Nitrite put in, ppm of the meat", "", 0, 200, 1, 140, "Cure"),
        Slider("a540", "Cured extract, A at 540 nm × 100", "", 0, 100, 1, 25, _MEASURED),
        Slider("a640", "Acid extract, A at 640 nm × 100", "", 2, 100, 1, 12, _MEASURED),
        Slider("measured_ppm", left, "", 0, 180, 1, 0, _MEASURED),
    )

    def compute(values) -> Coloured:
        myoglobin, dose_ppm = myoglobin_mg_per_g(values["meat"]), values["dose_ppm"]
        need = pigment(myoglobin, dose_ppm, values["a540"] / 100, values["a640"] / 100)
        left = residual(dose_ppm)
        limits = tuple(
            row for row in all_limits() if row.quantity == "nitrite residual" and row.in_force()
        )
        dosed = cure_for(dose_ppm, premix(USUAL), meat_kg=1, batch_kg=1.4)
        verdicts = judge(dosed, limits, residual_ppm=values["measured_ppm"] or None)
        return Coloured(need, left, limits, verdicts)

    presets = {
        "Less than the pigment takes": {"meat": "old beef", "dose_ppm": 60},
        "Poorly cured": {"a540": 16},
        "Too much is left": {"measured_ppm": 130},
    }
    return Panel(
        "Colour, rest, and what remains",
        controls,
        compute,
        colour_view,
        lambda system: {"need": charts.need_chart(system), "left": charts.left_chart(system)},
        presets,
    )


def colour_view(found: Coloured, values, system) -> View:
    need, left, measured = found.need, found.left, values["measured_ppm"] or None
    over = [v for v in found.verdicts if v.holds is False]
    rest = "What is left in yours, only a measurement tells."
    if over:
        rest = (
            f"✗ {measured:.0f} ppm was measured in the product, more than {over[0].limit.in_words}."
        )
    elif measured:
        rest = f"{measured:.0f} ppm was measured in the product, inside the limits shown."
    cured = (
        "The two extracts cannot both be right: they make more cured pigment than there is pigment"
    )
    if need.conversion_pct is not None:
        poor = "" if need.good else ", which is poor"
        cured = f"{need.conversion_pct:.0f} % of the pigment is cured{poor}"
    sentence = (
        f"One nitric oxide on each pigment of {values['meat']} takes {need.needed_ppm_of_meat:.0f} ppm; {values['dose_ppm']:.0f} is {need.times_needed:.1f} times that. "
        f"{cured}. After cooking {left.after_cook_low_ppm:.0f} to "
        f"{left.after_cook_high_ppm:.0f} ppm are commonly left. {rest}"
    )
    accepted = tuple(value(f"colour_accepted_{what}_ppm") for what in ("poultry_frank", "bologna"))
    judged = Table(
        "Limits on what is left: they need a measurement",
        OUTCOME,
        tuple(verdict_row(v) for v in found.verdicts),
    )
    an_overnight_rest = Table(
        "What an overnight rest in the cold is for",
        ("", "the rest"),
        tuple(Row(row, "strong" if row[0] == "safety" else "") for row in cautions.REST_ROWS),
        folded=True,
    )

    def as_nano2(row: Limit) -> float:
        return convert(row.limit, row.as_salt, "NaNO2")

    return View(
        sentence,
        {
            "need": charts.need_data(need.needed_ppm_of_meat, accepted, values["dose_ppm"]),
            "left": charts.left_data(left, measured, found.limits, as_nano2),
        },
        tables=(
            _pigment(need, values),
            _surveys(left),
            judged,
            an_overnight_rest,
        ),
        notes=(*need.notes, *left.notes, *(v.note for v in found.verdicts if v.note)),
        steps=(*need.working, *left.working),
        sources=(*need.sources, *left.sources),
        cautions=(cautions.RESIDUAL, cautions.NITRITE, cautions.LAW),
    )


def _pigment(need: Pigment, values) -> Table:
    cured = float(cured_pigment_ppm(values["a540"] / 100))
    total = float(total_pigment_ppm(values["a640"] / 100))
    good = number("good_conversion_pct")
    conversion = "✗ not shown: more cured pigment than pigment"
    if need.conversion_pct is not None:
        cross = "" if need.good else "✗ "
        conversion = (
            f"{cross}{need.conversion_pct:.0f} %, usually called good above {good.value:g} %"
        )
    lines = (
        (
            "pigment of the meat, as myoglobin",
            f"{need.myoglobin_mg_per_g:g} mg per g",
            number(f"myoglobin_{values['meat'].replace(' ', '_')}_mg_per_g").cite(),
        ),
        (
            "cured pigment, absorbance at 540 nm times the factor",
            f"{cured:.0f} ppm haematin",
            number("hornsey_cured_ppm").cite(),
        ),
        (
            "all pigment, absorbance at 640 nm times the factor",
            f"{total:.0f} ppm haematin",
            number("hornsey_total_ppm").cite(),
        ),
    )
    last = Row(("pigment conversion", conversion, good.cite()), "strong" if need.good else "fails")
    return Table(
        "Was it cured? Two extracts of 10 g in 80 % acetone, 1 cm",
        ("", "value", "source"),
        (*rows(*lines), last),
    )


def _surveys(left: Residual) -> Table:
    surveyed = (
        (
            one.what,
            f"{one.low_ppm:g}",
            "a mean" if one.low_ppm == one.high_ppm else f"{one.high_ppm:g}",
            one.source,
        )
        for one in left.surveys
    )
    low, high, stored, nitrate = (
        number(name)
        for name in (
            "residual_after_cook_low_pct",
            "residual_after_cook_high_pct",
            "residual_stored_high_ppm",
            "nitrate_survey_2009_ppm",
        )
    )
    cooked = (
        f"after cooking, {low.value:g} to {high.value:g} % of what went in",
        f"{left.after_cook_low_ppm:.0f}",
        f"{left.after_cook_high_ppm:.0f}",
        low.cite(),
    )
    bound = ("after storage", "", f"below {left.after_storage_below_ppm:g}", stored.cite())
    mean = ("nitrate found in 2009, mean", f"{nitrate.value:g}", "a mean", nitrate.cite())
    return Table(
        "What surveys found in cured cooked sausage, ppm; a range, no prediction",
        ("survey", "lowest", "highest", "source"),
        (
            *rows(*surveyed),
            Row(cooked, "strong"),
            *rows(bound, mean),
        ),
    )
