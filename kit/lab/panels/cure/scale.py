"""What the step of a scale does to the dose of a small batch, and two steps where it is too coarse."""

from typing import NamedTuple

import numpy as np

from kit import units
from kit.cure import Scale, cautions, on_scale
from kit.cure.dose import need_hand_dosable, nitrite_ppm, premix_kg_for
from kit.cure.premix import premix
from kit.cure.scale import Dilution, ScaleAnswer, dilute, ppm_interval
from kit.errors import attempt
from kit.lab.charts import cure_scale as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.cure import pieces
from kit.lab.panels.cure.pieces import BY_HAND, PURE, USUAL
from kit.lab.panels.panel import Panel, Table, View


class Weighed(NamedTuple):
    answer: ScaleAnswer
    dilution: Dilution | None
    no_dilution: str
    sweep: tuple
    lines: tuple[tuple[float, str], ...]


WIDER = "The bounds of a dose are 2 standard uncertainties, wider than a 90 % interval, because nitrite is poisonous: at least 95 of 100 weighings lie within."
_SWEEP_KG = np.geomspace(1, 100, 241)
_STEPS = tuple((f"{g:g} g", g) for g in (0.01, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0))


def scale_panel() -> Panel:
    """Effect of the step and the repeatability of a scale on the dose of a small batch."""
    own = {"mix": BY_HAND, "step_g": _STEPS}
    meat, mix, *scale = controls_of("scale", options=own, mix=USUAL, step_g=1.0)
    target, rule = pieces.cure_controls("target_ppm", "rule")
    controls = (meat, mix, target, *scale, rule)

    def compute(values) -> Weighed:
        mix, meat, target = premix(values["mix"]), values["meat_kg"], values["target_ppm"]
        need_hand_dosable(mix, meat)
        scale, tolerance = Scale(values["step_g"], values["sd_g"]), values["tolerance_pct"]
        answer = on_scale(target, mix, meat, scale, tolerance)
        strength = mix.strength_pct
        reading = scale.round_g(premix_kg_for(target, strength, _SWEEP_KG) * 1000)
        ppm = nitrite_ppm(reading / 1000, strength, _SWEEP_KG)
        sweep = (_SWEEP_KG, ppm, *ppm_interval(reading, strength, _SWEEP_KG, scale))
        diluted, why = None, ""
        if not answer.within:
            diluted, why = attempt(lambda: dilute(target, mix, meat, scale, tolerance))
        return Weighed(answer, diluted, why, sweep, _lines_of_meat(values["rule"]))

    presets = {
        "Kitchen scale, small batch": {"meat_kg": 2, "step_g": 5.0, "sd_g": 2},
        "Pure nitrite by hand": {"mix": PURE},
    }
    return Panel(
        "Scale and dosing accuracy",
        controls,
        compute,
        scale_view,
        {"scale": charts.scale_chart},
        presets,
    )


def _lines_of_meat(rule: str) -> tuple[tuple[float, str], ...]:
    """The limits on the meat as the salt, highest first: only these fit an axis of ppm of the meat."""
    return tuple(
        (row.limit, f"{rule}: {row.comparison_in_words} {row.limit:.0f}")
        for row in sorted(pieces.rule_of(rule), key=lambda row: -row.limit)
        if row.quantity == "nitrite ingoing" and row.basis == "meat"
    )


def scale_view(weighed: Weighed, values, system) -> View:
    a, d = weighed.answer, weighed.dilution
    meat, least = (
        units.show(kg, "kg", system, 1) for kg in (values["meat_kg"], a.smallest_meat_kg)
    )
    sentence = (
        f"{meat} of meat: {a.premix_g:.3g}\u00a0g of premix, {a.reading_g:g}\u00a0g on this scale; actual dose "
        f"{a.low_ppm_of_meat:.0f} to {a.high_ppm_of_meat:.0f} ppm (± 2 standard uncertainties), "
    )
    if a.within:
        sentence += f"within ± {a.tolerance_pct:g} % of the target. The scale is adequate from {least} of meat block."
    else:
        sentence += f"up to {a.furthest_pct:.0f} % off the target, more than ± {a.tolerance_pct:g} %. This scale needs {least} of meat, or a dilution in two steps."
    tables: tuple[Table, ...] = ()
    notes = [pieces.law(values), WIDER]
    if weighed.no_dilution:
        notes.append(weighed.no_dilution)
    if d:
        caption = f"Dilution in two steps: {d.low_ppm_of_meat:.0f} to {d.high_ppm_of_meat:.0f} ppm, ± {d.relative_half_width_pct:.1f} %"
        steps = [(n, words.replace(" g", "\u00a0g")) for n, words in enumerate(d.steps, 1)]
        tables = (Table(caption, ("step", "action"), steps),)
    if not weighed.lines:
        notes.append(f"{values['rule']} has no limit on the basis of meat, so the chart shows none")
    here = (values["meat_kg"], a)
    return View(
        sentence,
        {"scale": charts.scale_data(weighed.sweep, here, weighed.lines, a.tolerance_pct, system)},
        tables=tables,
        notes=tuple(notes),
        cautions=(cautions.NITRITE, cautions.STRENGTH, cautions.WEIGH, cautions.LAW),
    ).of(a, d)
