"""What the nitrite is for, what an overnight rest does, and what remains."""

from dataclasses import dataclass

from kit import units
from kit.cure import (
    Limit,
    Pigment,
    Residual,
    Verdict,
    all_limits,
    cautions,
    convert,
    cure_for,
    judge,
    myoglobin_mg_per_g,
    own_limit,
    pigment,
    premix,
    residual,
)
from kit.cure.colour import cured_pigment_ppm, total_pigment_ppm
from kit.cure.residual import doubling_K, doubling_pH, half_life_h, lost_pct
from kit.lab.charts import cure_left as charts
from kit.lab.panels.cure.pieces import USUAL, verdict_row
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View
from kit.tables import number, value


@dataclass(frozen=True)
class Coloured:
    need: Pigment
    left: Residual
    limits: tuple[Limit, ...]
    verdicts: tuple[Verdict, ...]


MEATS = ("pork", "veal", "calf", "young beef", "old beef", "lamb", "average")


def _residual_rows() -> tuple[Limit, ...]:
    """The limits in force today on what is left."""
    return tuple(
        row for row in all_limits() if row.quantity == "nitrite residual" and row.in_force()
    )


def colour_panel() -> Panel:
    """What the colour needs, what was cured, and what is left: ranges and measurements, no prediction."""
    controls = (
        Choice("meat", "Meat", MEATS, "pork", "Meat block"),
        Slider("dose_ppm", "Nitrite put in, ppm of the meat", "", 0, 200, 1, 140, "Cure"),
        Slider("temperature_C", "Temperature of the product", "°C", 2, 80, 1, 70, "Process"),
        Slider("pH", "pH of the product", "", 5.2, 6.8, 0.1, 6.0, "Process"),
        Slider(
            "a540", "Cured extract, A at 540 nm × 100", "", 0, 100, 1, 25, "Measured in the product"
        ),
        Slider(
            "a640", "Acid extract, A at 640 nm × 100", "", 2, 100, 1, 12, "Measured in the product"
        ),
        Slider(
            "measured_ppm",
            "Nitrite left, ppm (0: not measured)",
            "",
            0,
            180,
            1,
            0,
            "Measured in the product",
        ),
        Slider("own_ppm", "Your own limit on it, ppm (0: none)", "", 0, 150, 1, 0, "What is shown"),
    )

    def compute(values) -> Coloured:
        need = pigment(
            myoglobin_mg_per_g(values["meat"]),
            values["dose_ppm"],
            values["a540"] / 100,
            values["a640"] / 100,
        )
        left = residual(values["dose_ppm"], values["temperature_C"], values["pH"])
        own = (
            (own_limit("nitrite residual", values["own_ppm"], basis="finished"),)
            if values["own_ppm"]
            else ()
        )
        rows = (*_residual_rows(), *own)
        dosed = cure_for(values["dose_ppm"], premix(USUAL), meat_kg=1, batch_kg=1.4)
        return Coloured(
            need, left, rows, judge(dosed, rows, residual_ppm=values["measured_ppm"] or None)
        )

    presets = {
        "Less than the pigment takes": {"meat": "old beef", "dose_ppm": 60},
        "Poorly cured": {"a540": 16},
        "Too much is left": {"measured_ppm": 130},
        "Yours is stricter": {"measured_ppm": 30, "own_ppm": 20},
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
    at = units.show(values["temperature_C"], "°C", system, 0)
    over = [v for v in found.verdicts if v.holds is False]
    rest = (
        f"✗ {measured:.0f} ppm was measured in the product, more than {over[0].limit.in_words}."
        if over
        else f"{measured:.0f} ppm was measured in the product, inside the limits shown."
        if measured
        else "What is left in yours, only a measurement tells."
    )
    sentence = (
        f"One nitric oxide on each pigment of {values['meat']} takes {need.needed_ppm_of_meat:.0f} ppm; {values['dose_ppm']:.0f} is {need.times_needed:.1f} times that. "
        f"{_converted(need)}. After cooking {left.after_cook_low_ppm:.0f} to "
        f"{left.after_cook_high_ppm:.0f} ppm are commonly left; a formula made for ham (not verified against the source) loses {left.remembered_loss_in_hour_pct:.2g} % in an hour at {at}. {rest}"
    )
    accepted = tuple(value(f"colour_accepted_{what}_ppm") for what in ("poultry_frank", "bologna"))
    cured, total = (
        float(cured_pigment_ppm(values["a540"] / 100)),
        float(total_pigment_ppm(values["a640"] / 100)),
    )
    conversion = number("hornsey_total_ppm")
    colour = Table(
        "Was it cured? Two extracts of 10 g in 80 % acetone, 1 cm",
        ("", "value", "source"),
        (
            Row(
                (
                    "pigment of the meat, as myoglobin",
                    f"{need.myoglobin_mg_per_g:g} mg per g",
                    number(f"myoglobin_{values['meat'].replace(' ', '_')}_mg_per_g").cite(),
                )
            ),
            Row(
                (
                    "cured pigment, absorbance at 540 nm times the factor",
                    f"{cured:.0f} ppm haematin",
                    number("hornsey_cured_ppm").cite(),
                )
            ),
            Row(
                (
                    "all pigment, absorbance at 640 nm times the factor",
                    f"{total:.0f} ppm haematin",
                    conversion.cite(),
                )
            ),
            Row(
                (
                    "pigment conversion",
                    "✗ not shown: more cured pigment than pigment"
                    if need.conversion_pct is None
                    else f"{'' if need.good else '✗ '}{need.conversion_pct:.0f} %, usually called good above {value('good_conversion_pct'):g} %",
                    number("good_conversion_pct").cite(),
                ),
                "strong" if need.good else "fails",
            ),
        ),
    )
    surveys = Table(
        "What surveys found in cured cooked sausage, ppm; a range, no prediction",
        ("survey", "lowest", "highest", "source"),
        (
            *(
                Row(
                    (
                        survey.what,
                        f"{survey.low_ppm:g}",
                        "a mean" if survey.low_ppm == survey.high_ppm else f"{survey.high_ppm:g}",
                        survey.source,
                    )
                )
                for survey in left.surveys
            ),
            Row(
                (
                    f"after cooking, {value('residual_after_cook_low_pct'):g} to {value('residual_after_cook_high_pct'):g} % of what went in",
                    f"{left.after_cook_low_ppm:.0f}",
                    f"{left.after_cook_high_ppm:.0f}",
                    number("residual_after_cook_low_pct").cite(),
                ),
                "strong",
            ),
            Row(
                (
                    "after storage",
                    "",
                    f"below {left.after_storage_below_ppm:g}",
                    number("residual_stored_high_ppm").cite(),
                )
            ),
            Row(
                (
                    "nitrate found in 2009, mean",
                    f"{left.nitrate_survey_ppm:g}",
                    "a mean",
                    number("nitrate_survey_2009_ppm").cite(),
                )
            ),
        ),
    )
    judged = Table(
        "Limits on what is left: they need a measurement",
        ("what", "value", "limit", "margin", "source"),
        tuple(verdict_row(v) for v in found.verdicts),
    )
    return View(
        sentence,
        {
            "need": charts.need_data(need.needed_ppm_of_meat, accepted, values["dose_ppm"]),
            "left": charts.left_data(
                left, measured, found.limits, lambda row: convert(row.limit, row.as_salt, "NaNO2")
            ),
        },
        {
            "need": charts.need_text(need.needed_ppm_of_meat, values["dose_ppm"]),
            "left": charts.left_text(left),
        },
        (colour, surveys, judged, _half_lives(left, values, at, system), _rest()),
        (*need.notes, *left.notes, *(v.note for v in found.verdicts if v.note)),
        (*need.working, *left.working),
        (*need.sources, *left.sources),
        (cautions.RESIDUAL, cautions.NITRITE, cautions.LAW),
    )


def _converted(need: Pigment) -> str:
    if need.conversion_pct is None:
        return "The two extracts cannot both be right: they make more cured pigment than there is pigment"
    return f"{need.conversion_pct:.0f} % of the pigment is cured{'' if need.good else ', which is poor'}"


def _half_lives(left: Residual, values, at: str, system: str) -> Table:
    """The formula at four temperatures and at the one chosen."""
    rows = [
        Row(
            (
                f"here: {at}, pH {values['pH']:.1f}",
                f"{left.remembered_half_life_h:.3g} h",
                f"{left.remembered_loss_in_hour_pct:.2g} %",
            ),
            "strong",
        )
    ]
    rows += [
        Row(
            (
                f"{units.show(t, '°C', system, 0)}, pH {values['pH']:.1f}",
                f"{(half := float(half_life_h(t, values['pH']))):.3g} h",
                f"{lost_pct(half):.2g} %",
            )
        )
        for t in (5, 20, 38, 70)
    ]
    rows += [
        Row(
            (
                "it halves with",
                f"{units.show(doubling_K(), 'K', system)} more, or {doubling_pH():.2f} pH less",
                "",
            )
        ),
        Row((number("nordin_constant").cite(), "", "")),
        Row((f"where it fails: {left.notes[0]}", "", ""), "fails"),
    ]
    return Table(
        "Half-life by a formula made for ham (not verified against the source), and where it fails",
        ("at", "half is gone in", "lost in one hour"),
        tuple(rows),
        folded=True,
    )


def _rest() -> Table:
    return Table(
        "What an overnight rest in the cold is for",
        ("", "the rest"),
        tuple(Row(row, "strong" if row[0] == "safety" else "") for row in cautions.REST_ROWS),
        folded=True,
    )
