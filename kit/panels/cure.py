"""The panels of 02_cure: one dose under four names, the scale, salt and water activity, the wrong bag, find the mistake, the own sheet."""
from dataclasses import dataclass
from datetime import date

import numpy as np

from kit import units
from kit.chain.cure import CAUTIONS, Checked, CureAnswer, bowl_weighed_kg, checked_lines, cure_of
from kit.charts import cure as charts
from kit.cure import (Brine, CureLine, Dilution, Dose, Findings, Intake, Limit, Plan, Scale, ScaleAnswer, Verdict, all_limits, aw_of_brine,
                      aw_quadratic, brine, cautions, dilute, dose, find_traps, growth_table, intake, judge, limits_for, mistakes, nitrite_ppm,
                      on_scale, ppm_interval, premix, premix_kg_for, premix_mix_up, premix_names)
from kit.cure.brine import brine_of_molality
from kit.cure.dose import need_hand_dosable
from kit.cure.salts import convert
from kit.cure.slips import SLIPS
from kit.errors import Faulty, KitError
from kit.panels.panel import Choice, File, Panel, Row, Slider, Table, View
from kit.panels.start import demo_sheet, read_uploaded
from kit.sheet import Sheet
from kit.tables import value

RULES = mistakes.RULES
"""what is shown: (jurisdiction, the day whose limits hold; None: those without an end)"""
PURE = "sodium nitrite, pure"
MIXES = tuple(name for name in premix_names() if not premix(name).concentrated)
BY_HAND = (*MIXES, PURE)
USUAL = "us cure 6.25 %"
SLIP_WORDS = {"none": "nothing is wrong with it", **{slip.key: slip.name for slip in SLIPS}, "forgotten": "cure forgotten",
              "unknown_content": "a source whose strength nobody knows", "mixed_rules": "limits of two countries mixed"}
_FORM = {"as used": "as the salt used", "": ""}
_OF = {"meat": "of the meat", "batch": "of the batch", "finished": "of the finished product", "accelerators": "of accelerator and citrate"}


def _rule(name: str) -> tuple[Limit, ...]:
    place, day = RULES[name]
    return limits_for(place, on=day)


def _rule_choice(start: str = "US") -> Choice:
    return Choice("rule", "Rule", tuple(RULES), start, "What is shown")


# ---- pieces that other panels use as well -------------------------------------------------------------------------------------

def verdict_row(v: Verdict) -> Row:
    """One limit in the columns of the outcome table: what, value, limit, margin, source."""
    row = v.limit
    what = ", ".join(part for part in (row.quantity, _FORM.get(row.as_salt, f"as {row.as_salt}"), _OF[row.basis]) if part)
    margin = "not judged" if v.holds is None else f"{max(v.margin, 0):.4g} inside" if v.holds else f"✗ {-v.margin:.4g} {'over' if row.comparison == 'max' else 'short'}"
    return Row((what, "not known" if v.value is None else f"{v.value:.5g} {row.unit}", f"{'at most' if row.comparison == 'max' else 'at least'} {row.limit:g}",
                margin, v.source), "fails" if v.holds is False else "")


def _touched(v: Verdict) -> bool:
    return v.holds is False or v.limit.quantity.startswith("nitrite") or bool(v.value)


def dose_rows(found: Dose, verdicts, system: str) -> tuple[Row, ...]:
    """The nitrite under each name that no limit speaks of, then every limit that the batch touches."""
    spoken = {(v.limit.basis, "NaNO2" if v.limit.as_salt == "as used" else v.limit.as_salt) for v in verdicts if v.limit.quantity in ("nitrite ingoing", "nitrite finished")}
    names = tuple(Row((f"nitrite as {form} {_OF[basis]}", f"{found.ppm(basis, form):.5g} mg/kg", "", "", "computed"))
                  for basis, form in charts.NAMES if found.base_kg(basis) is not None and (basis, form) not in spoken)
    return (Row(("nitrite that goes in, as NaNO2", units.show(found.nitrite_kg * 1000, "g", system, 2 if system == units.METRIC else 3), "", "", "computed")), *names,
            *(verdict_row(v) for v in verdicts if _touched(v)))


def cure_rows(answer: CureAnswer, system: str) -> tuple[Row, ...]:
    """Rows for an outcome table (what, value, limit, margin, source)."""
    rows = [*dose_rows(answer.dose, answer.verdicts, system)]
    if answer.interval_ppm_of_meat:
        low, high = answer.interval_ppm_of_meat
        rows += [Row(("nitrite of the meat that this scale may really give", f"{low:.0f} to {high:.0f} mg/kg", "", "", "step and repeatability, 95 %")),
                 Row(("smallest meat block this scale can dose", units.show(answer.least_meat_kg, "kg", system, 1), f"within ± {value('dose_tolerance_pct'):g} %", "", "computed"))]
    for when, b in (("before the cook", answer.raw), ("after the cook", answer.finished)):
        if b:
            rows.append(Row((f"salt in the water phase, {when}", f"{b.brine_pct:.2f} %", "", "", "computed, cure's own salt counted")))
    if answer.finished:
        rows += [Row(("water activity after the cook, from salt alone", f"{answer.finished.aw:.3f}", "", "", "Pitzer relation, 25 °C")),
                 Row(("sodium from salt", f"{answer.finished.sodium_mg_per_100g:.0f} mg per 100 g", "", "", "computed"))]
    return tuple(rows)


def cure_sentence(answer: CureAnswer) -> str:
    """What the cure of a sheet comes to, in one or two sentences."""
    if answer.findings.stop:
        why = next(alarm for alarm in answer.findings.alarms if alarm.severity == "stop")
        return f"Stop: {why.what}. {why.do[:1].upper()}{why.do[1:]}."
    start = f"The cure brings {answer.dose.ppm_of_meat:.0f} ppm of sodium nitrite on the meat"
    if answer.findings.alarms:
        return f"{start}. Look again: {answer.findings.alarms[0].what}."
    if answer.broken:
        return f"{start}. Not every limit holds: {answer.broken[0].value:.4g} {answer.broken[0].limit.unit} against {answer.broken[0].limit.in_words}."
    v = answer.ceiling
    room = f"; the nearest ceiling of {answer.jurisdiction} is {v.limit.limit:g} {v.limit.unit} {_OF[v.limit.basis]}" if v else ""
    scale = ""
    if answer.interval_ppm_of_meat:
        low, high = answer.interval_ppm_of_meat
        scale = f". On this scale it may be {low:.0f} to {high:.0f} ppm{', the upper end past the ceiling' if answer.scale_may_pass_ceiling else ''}"
    return f"{start}{room}{scale}. No alarm."


def trap_tables(found: Findings) -> tuple[Table, ...]:
    """What is wrong for certain, and every slip that fits the numbers."""
    tables = ()
    if found.alarms:
        tables += (Table("What is wrong for certain", ("", "what", "what to do"), tuple(
            Row((a.severity.upper(), a.what, a.do), "fails" if a.severity == "stop" else "strong") for a in found.alarms)),)
    if found.explanations:
        tables += (Table("Slips that would explain it; the numbers alone cannot choose", ("slip", "how", "meant, ppm of the meat", "to tell them apart", "what to do"), tuple(
            Row((e.name, e.detail, f"{e.intended_ppm_of_meat:.0f}", e.tell, e.do)) for e in found.explanations)),)
    return tables


def weigh_table(answer: CureAnswer, system: str) -> Table:
    """The list for the scale, or one row that says why it is withheld."""
    if answer.withheld:
        return Table("Weigh list: withheld", ("why",), (Row((answer.withheld,), "fails"),))
    decimals = max(0, -int(np.floor(np.log10(answer.scale.step_g) + 1e-9))) if system == units.METRIC else 3
    return Table("Weigh list, as this scale shows it", ("weigh", "weight", "per kg of meat", "rounding", "nitrite it may give"), tuple(
        Row((w.name, units.show(w.reading_g, "g", system, decimals), units.show(w.per_kg_of_meat_g, "g/kg", system), _signed(w.change_pct),
             "" if w.ppm_low_of_meat is None else f"{w.ppm_low_of_meat:.0f} to {w.ppm_high_of_meat:.0f} ppm of the meat"), "strong" if w.ppm_low_of_meat is not None else "")
        for w in answer.weights))


def _signed(pct: float) -> str:
    return "none" if abs(pct) < 0.05 else f"{pct:+.1f} %".replace("-", "−")


# ---- one dose, four names -----------------------------------------------------------------------------------------------------

@dataclass(frozen=True)
class Named:
    dose: Dose
    findings: Findings
    limits: tuple[Limit, ...]
    verdicts: tuple[Verdict, ...]


def dose_panel() -> Panel:
    """The same grams of cure as ppm of meat, batch and finished product, and as the ion."""
    controls = (
        Slider("meat_kg", "Meat block", "kg", 5, 200, 1, 50, "Meat block"),
        Slider("rest_pct_of_meat", "Ice and all else, % of meat", "", 10, 80, 1, 38, "Ice, binder, spice"),
        Choice("mix", "Premix in the bag", MIXES, USUAL, "Cure"),
        Slider("rate_g_per_kg", "Premix per weight of meat", "g/kg", 0.5, 50, 0.1, 2.4, "Cure"),
        Slider("cook_yield_pct", "Cook yield, %", "", 75, 100, 0.5, 90, "Process"),
        _rule_choice(),
    )

    def compute(values) -> Named:
        meat = values["meat_kg"]
        line = CureLine(premix(values["mix"]), meat * values["rate_g_per_kg"] / 1000)
        batch = meat * (1 + values["rest_pct_of_meat"] / 100) + line.kg
        limits = _rule(values["rule"])
        found = find_traps(Plan(meat, batch, (line,), batch * values["cook_yield_pct"] / 100, limits))
        return Named(found.dose, found, limits, judge(found.dose, limits))

    presets = {"Another bag, same rate": {"mix": "nitrite salt 0.6 %", "rate_g_per_kg": 2.4},
               "Weak bag's rate, strong bag": {"mix": USUAL, "rate_g_per_kg": 20},
               "Rate taken on the batch": {"rate_g_per_kg": 2.4 * 1.38},
               "Old EU rate, new EU rule": {"rule": "EU, 2026", "rate_g_per_kg": 2.4 * 1.38}}
    return Panel("One weight of nitrite, four numbers", controls, compute, dose_view, lambda system: {"names": charts.names_chart(system)}, presets)


def dose_view(named: Named, values, system) -> View:
    found = named.dose
    premix_g = units.show(found.cure_kg * 1000, "g", system)
    nitrite_g = units.show(found.nitrite_kg * 1000, "g", system, 2 if system == units.METRIC else 3)
    sentence = (f"{premix_g} of premix bring {nitrite_g} of nitrite: {found.ppm('meat'):.0f} ppm of the meat, {found.ppm('batch'):.0f} of the batch, "
                f"{found.ppm('finished'):.0f} of the finished product, and {found.ppm('batch', 'NO2'):.0f} ppm of the batch as the ion. {_judged(named, values['rule'])}")
    ceilings = tuple(row for row in all_limits() if row.product_kind == "cooked sausage" and row.comparison == "max" and row.date_to is None and row not in named.limits)
    table = Table(f"Against {values['rule']}", ("what", "value", "limit", "margin", "source"), dose_rows(found, named.verdicts, system))
    return View(sentence, {"names": charts.names_data(found, named.limits, ceilings, system)}, {"names": charts.names_text(found)},
                (*trap_tables(named.findings), table), named.findings.notes, named.findings.working, named.findings.sources, CAUTIONS)


def _judged(named: Named, rule: str) -> str:
    if named.findings.stop:
        return f"Above the ceiling of {rule}: do not weigh it."
    if any(alarm.key == "under_floor" for alarm in named.findings.alarms):
        return f"Less than {rule} asks or practice uses: it may not protect."
    v = next(v for v in named.verdicts if v.limit.quantity == "nitrite ingoing" and v.limit.comparison == "max")
    form = "the ion" if v.limit.as_salt == "NO2" else "the salt"
    return f"{rule} counts {form} per kg {_OF[v.limit.basis]}: {v.value:.0f} of at most {v.limit.limit:.0f} ppm."


# ---- the scale ----------------------------------------------------------------------------------------------------------------

@dataclass(frozen=True, eq=False)
class Weighed:
    answer: ScaleAnswer
    dilution: Dilution | None
    no_dilution: str
    sweep: tuple
    lines: tuple[tuple[float, str], ...]


_SWEEP_KG = np.geomspace(1, 100, 241)


def scale_panel() -> Panel:
    """What the step and the repeatability of a scale do to the dose of a small batch."""
    controls = (
        Slider("meat_kg", "Meat block", "kg", 1, 100, 0.5, 20, "Meat block"),
        Choice("mix", "Premix in the bag", BY_HAND, USUAL, "Cure"),
        Slider("target_ppm", "Wanted, ppm of the meat", "", 80, 200, 1, 140, "Cure"),
        Choice("step_g", "The scale's smallest step", tuple((f"{g:g} g", g) for g in (0.01, 0.1, 0.2, 0.5, 1.0, 2.0, 5.0, 10.0)), 1.0, "Scale"),
        Slider("sd_g", "Repeats scatter by (one sd), g", "", 0, 5, 0.05, 0.5, "Scale"),
        Slider("tolerance_pct", "The dose may be off by ± %", "", 1, 20, 1, 5, "Scale"),
        Choice("carrier", "Dilute, if need be, in", ("water", "salt"), "water", "Scale"),
        _rule_choice(),
    )

    def compute(values) -> Weighed:
        mix, meat, target = premix(values["mix"]), values["meat_kg"], values["target_ppm"]
        need_hand_dosable(mix, meat)
        scale = Scale(values["step_g"], values["sd_g"])
        answer = on_scale(target, mix, meat, scale, values["tolerance_pct"])
        reading = scale.round_g(premix_kg_for(target, mix.strength_pct, _SWEEP_KG) * 1000)
        sweep = (_SWEEP_KG, nitrite_ppm(reading / 1000, mix.strength_pct, _SWEEP_KG), *ppm_interval(reading, mix.strength_pct, _SWEEP_KG, scale))
        diluted, why = None, ""
        if not answer.within:
            try:
                diluted = dilute(target, mix, meat, scale, values["carrier"], tolerance_pct=values["tolerance_pct"])
            except KitError as error:
                why = str(error)
        return Weighed(answer, diluted, why, sweep, _lines_of_meat(_rule(values["rule"]), values["rule"]))

    presets = {"Kitchen scale, small batch": {"meat_kg": 2, "step_g": 5.0, "sd_g": 2}, "A scale fit for cure": {"step_g": 0.1, "sd_g": 0.05},
               "A weaker premix": {"mix": "nitrite salt 0.6 %"}, "Pure nitrite by hand": {"mix": PURE}}
    return Panel("What this scale can dose", controls, compute, scale_view, lambda system: {"scale": charts.scale_chart(system)}, presets)


def _lines_of_meat(limits, rule) -> tuple[tuple[float, str], ...]:
    """The limits that count on the meat as the salt, highest first: only these can stand on an axis of ppm of the meat."""
    rows = [row for row in limits if row.quantity == "nitrite ingoing" and row.basis == "meat"]
    return tuple((row.limit, f"{rule}: {'at most' if row.comparison == 'max' else 'at least'} {row.limit:.0f}") for row in sorted(rows, key=lambda row: -row.limit))


def scale_view(weighed: Weighed, values, system) -> View:
    a = weighed.answer
    meat = units.show(values["meat_kg"], "kg", system, 1)
    start = (f"{meat} of meat need {a.premix_g:.3g} g of premix; the scale shows {a.reading_g:g} g, and the dose behind that is "
             f"{a.low_ppm_of_meat:.0f} to {a.high_ppm_of_meat:.0f} ppm")
    least = units.show(a.smallest_meat_kg, "kg", system, 1)
    sentence = (f"{start}: within ± {a.tolerance_pct:g} % of what is wanted. Any batch from {least} of meat on is." if a.within else
                f"{start}: up to {a.furthest_pct:.0f} % off, more than ± {a.tolerance_pct:g} %. This scale needs {least} of meat, or two steps.")
    tables = (Table("One weighing", ("", "value"), (
        Row(("premix wanted", f"{a.premix_g:.4g} g" + ("" if system == units.METRIC else f" ({units.show(a.premix_g, 'g', system, 3)})"))), Row(("nearest reading", f"{a.reading_g:g} g")),
        Row(("ppm of the meat that it may be, 95 %", f"{a.low_ppm_of_meat:.1f} to {a.high_ppm_of_meat:.1f}"), "" if a.within else "fails"),
        Row(("furthest from what is wanted", f"{'' if a.within else '✗ '}{a.furthest_pct:.1f} %"), "" if a.within else "fails"),
        Row(("smallest meat block for this scale", least)))),)
    steps, sources = a.working, a.sources
    if weighed.dilution:
        d = weighed.dilution
        tables += (Table(f"In two steps: {d.low_ppm_of_meat:.0f} to {d.high_ppm_of_meat:.0f} ppm, ± {d.relative_half_width_pct:.1f} %", ("step", "do this"),
                         tuple(Row((str(n), words)) for n, words in enumerate(d.steps, 1))),)
        steps, sources = (*steps, *d.working), (*sources, *d.sources)
    notes = (*a.notes, *((weighed.no_dilution,) if weighed.no_dilution else ()), *(weighed.dilution.notes if weighed.dilution else ()))
    if not weighed.lines:
        notes += (f"{values['rule']} does not count per kg of meat, so it has no line in this picture",)
    return View(sentence, {"scale": charts.scale_data(weighed.sweep, (values["meat_kg"], a), weighed.lines, a.tolerance_pct, system)},
                {"scale": charts.scale_text(a)}, tables, notes, steps, sources, (cautions.NITRITE, cautions.STRENGTH, cautions.WEIGH))


# ---- salt, brine, water activity ----------------------------------------------------------------------------------------------

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
        Slider("dry_pct_of_meat", "Binder and spice, % of meat", "", 0, 12, 0.5, 5, "Binder and salt"),
        Slider("salt_pct_of_batch", "Salt put in, % of batch", "", 0, 12, 0.1, 1.9, "Binder and salt"),
        Choice("mix", "Premix in the bag", MIXES, USUAL, "Cure"),
        Slider("target_ppm", "Nitrite, ppm of the meat", "", 80, 200, 1, 140, "Cure"),
        Slider("cook_yield_pct", "Cook yield, %", "", 75, 100, 0.5, 90, "Process"),
    )

    def compute(values) -> Salted:
        meat, mix = values["meat_kg"], premix(values["mix"])
        cure = float(premix_kg_for(values["target_ppm"], mix.strength_pct, meat))
        batch = (meat * (1 + (values["ice_pct_of_meat"] + values["dry_pct_of_meat"]) / 100) + cure) / (1 - values["salt_pct_of_batch"] / 100)
        water = meat * (values["water_pct_of_meat"] + values["ice_pct_of_meat"]) / 100
        own = cure * mix.salt_pct / 100
        salt, lost = batch * values["salt_pct_of_batch"] / 100, batch * (1 - values["cook_yield_pct"] / 100)
        return Salted(brine(salt, water, batch, own), brine(salt, water, batch, own, lost), cure, own)

    presets = {"Salt alone against Listeria": {"salt_pct_of_batch": 9}, "The cure is the salt": {"mix": "nitrite salt 0.6 %", "salt_pct_of_batch": 0.2},
               "Forgot the cure's own salt": {"mix": "nitrite salt 0.6 %", "salt_pct_of_batch": 1.9}}
    return Panel("Salt, brine and water activity", controls, compute, brine_view,
                 lambda system: {"aw": charts.aw_chart(system), "salt": charts.salt_chart(system)}, presets)


def _curves():
    w = np.linspace(0, 22, 89)
    return (w, aw_of_brine(w)), (w, aw_quadratic(w))


def brine_view(salted: Salted, values, system) -> View:
    raw, done = salted.raw, salted.finished
    stopped = [g.organism for g in done.growth if g.stopped]
    says = ("Salt alone stops none of the organisms listed" if not stopped else
            f"That is below every published floor for growth of {', '.join(stopped)}, and of no other listed, in food that nobody would eat")
    share = 100 * salted.cure_salt_kg / max(done.salt_kg, 1e-12)
    sentence = (f"The cook takes the brine from {raw.brine_pct:.1f} to {done.brine_pct:.1f} % salt in the water, water activity {raw.aw:.3f} to {done.aw:.3f}. "
                f"{says}. {share:.0f} % of the salt came with the cure.")
    usual = tuple(value(f"frankfurter_brine_{end}_pct") for end in ("low", "high"))
    quick = "past its end (0.92)" if done.aw_quadratic is None else f"{done.aw_quadratic:.4f}"
    off = "" if done.aw_difference is None else f"{done.aw_difference:+.4f} beside Pitzer".replace("-", "−")
    amounts = Table("Before and after the cook", ("", "raw batter", "finished"), (
        Row(("salt, the cure's own counted", units.show(raw.salt_kg, "kg", system), units.show(done.salt_kg, "kg", system))),
        Row(("water", units.show(raw.water_kg, "kg", system), units.show(done.water_kg, "kg", system))),
        Row(("salt, % of the weight", f"{raw.salt_pct:.2f}", f"{done.salt_pct:.2f}")),
        Row(("salt in the water phase, %", f"{raw.brine_pct:.2f}", f"{done.brine_pct:.2f}"), "strong"),
        Row(("the same as degrees salometer", f"{raw.salometer:.1f}", f"{done.salometer:.1f}")),
        Row(("ionic strength, mol per kg of product", f"{raw.ionic_strength:.2f}", f"{done.ionic_strength:.2f}")),
        Row(("water activity by Pitzer, 25 °C", f"{raw.aw:.4f}", f"{done.aw:.4f}"), "strong"),
        Row(("water activity by the quadratic", "past its end (0.92)" if raw.aw_quadratic is None else f"{raw.aw_quadratic:.4f}", f"{quick} {off}".strip())),
        Row(("sodium from salt, mg per 100 g", f"{raw.sodium_mg_per_100g:.0f}", f"{done.sodium_mg_per_100g:.0f}"))))
    growth = Table("What this water activity alone does", ("organism", "seen to grow down to", "published range", "salt alone", "brine that reaches it"), tuple(
        Row((g.organism, f"{g.least_aw:g}", f"{g.low_aw:g} to {g.high_aw:g}", "below every figure" if g.stopped else "✗ can grow", f"{_brine_for(g.least_aw):.1f} % salt in the water"),
            "" if g.stopped else "fails") for g in done.growth))
    return View(sentence, {"aw": charts.aw_data(*_curves(), raw, done, usual), "salt": charts.salt_data(raw, done, salted.cure_salt_kg)},
                {"aw": charts.aw_text(raw, done), "salt": charts.salt_text(raw, done)}, (amounts, growth), done.notes,
                (*raw.working[:1], *done.working), done.sources, (cautions.SALT_ALONE,))


_STRENGTHS = np.linspace(0, 26, 2601)


def _brine_for(aw: float) -> float:
    """Brine strength, %, at which Pitzer gives this water activity."""
    return float(np.interp(-aw, -aw_of_brine(_STRENGTHS), _STRENGTHS))


# ---- the wrong bag ------------------------------------------------------------------------------------------------------------

@dataclass(frozen=True)
class MixedUp:
    rate_g_per_kg: float
    findings: Findings
    eaten: Intake
    bags: tuple[tuple[float, float], ...]
    marks: tuple[tuple[float, str], ...]


PORTION_G = 100.0


def mix_up_panel() -> Panel:
    """The rate that is right for one premix, weighed from another bag."""
    controls = (
        Slider("meat_kg", "Meat block", "kg", 5, 200, 1, 50, "Meat block"),
        Slider("rest_pct_of_meat", "Ice and all else, % of meat", "", 10, 80, 1, 38, "Ice, binder, spice"),
        Choice("meant", "The recipe's rate is for", MIXES, "nitrite salt 0.6 %", "Cure"),
        Slider("target_ppm", "The recipe wants, ppm of the meat", "", 80, 200, 1, 140, "Cure"),
        Choice("used", "The bag in your hand", BY_HAND, "nitrite salt 0.6 %", "Cure"),
        Slider("body_kg", "Body weight of the eater", "kg", 10, 120, 1, 70, "Who eats it"),
        _rule_choice(),
    )

    def compute(values) -> MixedUp:
        meat, meant, used = values["meat_kg"], premix(values["meant"]), premix(values["used"])
        rate = float(premix_kg_for(values["target_ppm"], meant.strength_pct, 1.0)) * 1000
        batch = meat * (1 + values["rest_pct_of_meat"] / 100)
        plan = Plan(meat, batch, (CureLine(used, rate * meat / 1000),), None, _rule(values["rule"]), values["target_ppm"])
        found = find_traps(plan)
        eaten = intake(values["body_kg"], PORTION_G, found.dose.ppm_of_batch, (used,))
        strengths = tuple(sorted({premix(name).strength_pct for name in BY_HAND}))
        bags = tuple((s, float(premix_mix_up(rate, premix(next(n for n in BY_HAND if premix(n).strength_pct == s))))) for s in strengths)
        per_mg = 1000 / PORTION_G * batch / meat
        marks = ((eaten.methaemoglobin_from_mg_nano2 * per_mg, "first signs|reported"), (eaten.lethal_low_g_nano2 * 1000 * per_mg, "deaths|reported"))
        return MixedUp(rate, found, eaten, bags, marks)

    presets = {"Weak bag's rate, strong bag": {"used": USUAL}, "Strong bag's rate, weak bag": {"meant": USUAL, "used": "nitrite salt 0.6 %"},
               "Pure nitrite for premix": {"meant": USUAL, "used": PURE}, "A child eats it": {"used": USUAL, "body_kg": 15}}
    return Panel("The wrong bag", controls, compute, mix_up_view, lambda system: {"bags": charts.bags_chart(system)}, presets)


def mix_up_view(mixed: MixedUp, values, system) -> View:
    found, eaten = mixed.findings, mixed.eaten
    ppm = found.dose.ppm_of_meat
    rate = units.show(mixed.rate_g_per_kg, "g/kg", system, 2 if system == units.METRIC else 3)
    start = f"{rate} is right for {values['meant']}. From {values['used']} it gives {ppm:.0f} ppm"
    times = ppm / values["target_ppm"]
    same = abs(times - 1) < 0.001
    verdict = "what the recipe wants" if same else f"{times:.3g} times what the recipe wants"
    what = "No list is printed." if found.stop else "It may not protect." if times < 0.95 else ""
    sentence = f"{start}: {verdict}. {what}".strip()
    half = 2 if system == units.METRIC else 3
    body = units.show(values["body_kg"], "kg", system, 0)
    table = Table(f"{PORTION_G:.0f} g of it, eaten by someone of {body}, as if nothing had reacted", ("", "nitrite, as NaNO2"), (
        Row(("in the portion", units.show(eaten.eaten_mg_nano2 / 1000, "g", system, half + 2)), "strong"),
        Row(("acceptable every day of a life", units.show(eaten.adi_mg_nano2 / 1000, "g", system, half + 2))),
        Row(("first signs of poisoning reported from", units.show(eaten.methaemoglobin_from_mg_nano2 / 1000, "g", system, half + 2)),
            "fails" if eaten.eaten_mg_nano2 >= eaten.methaemoglobin_from_mg_nano2 else ""),
        Row(("deaths reported, one source", f"{units.show(eaten.lethal_low_g_nano2, 'g', system, half)} to {units.show(eaten.lethal_high_g_nano2, 'g', system, half)}"),
            "fails" if eaten.eaten_mg_nano2 >= eaten.lethal_low_g_nano2 * 1000 else ""),
        Row(("deaths reported, another source", f"{units.show(eaten.lethal_who_low_g_nano2, 'g', system, half)} to {units.show(eaten.lethal_who_high_g_nano2, 'g', system, half)}")),
        *(Row((f"the lowest of these in grams of {g.premix}", units.show(g.lethal_low_g, "g", system, half))) for g in eaten.premixes)))
    band = found.band
    room = tuple(kg * 1e6 / found.dose.meat_kg for kg in (band.low_kg, band.high_kg))
    return View(sentence, {"bags": charts.bags_data(mixed.bags, premix(values["used"]).strength_pct, premix(values["meant"]).strength_pct, room, mixed.marks)},
                {"bags": charts.bags_text(mixed.bags, premix(values["used"]).strength_pct)}, (*trap_tables(found), table),
                (*found.notes, *eaten.notes), (*found.working, *eaten.working), (*found.sources, *eaten.sources),
                (cautions.NITRITE, cautions.STRENGTH, cautions.POISONED))


# ---- find the mistake ---------------------------------------------------------------------------------------------------------

def mistake_panel() -> Panel:
    """A weigh sheet from a seed: what is wrong with it?"""
    answers = (("choose an answer", ""), *((words, key) for key, words in SLIP_WORDS.items()))
    controls = (Slider("seed", "Sheet number", "", 0, 99, 1, 7, "The sheet"), Choice("answer", "What is wrong?", answers, "", "Your answer"),
                Choice("hint", "Hint", (("none yet", 0), ("first", 1), ("second", 2), ("third", 3)), 0, "Your answer"))
    return Panel("Find the mistake in this weigh sheet", controls, lambda values: mistakes.case(int(values["seed"])), mistake_view, lambda system: {})


def mistake_view(case: mistakes.Case, values, system) -> View:
    rows = tuple(Row((what, _in_system(written, system))) for what, written in case.sheet)
    table = Table(f"Weigh sheet {case.seed}", ("", "as written"), rows)
    hints = tuple(f"Hint {n}: {hint}" for n, hint in enumerate(case.hints[:values["hint"]], 1))
    if values["hint"] > len(case.hints):
        hints += ("There is no further hint for this sheet.",)
    if not values["answer"]:
        return View("Is anything wrong with this sheet? Work out what it wants and what it brings, then answer.", {}, {}, (table,), hints, cautions=CAUTIONS)
    reply = case.check(values["answer"])
    says = reply.says
    for key, words in SLIP_WORDS.items():
        says = says.replace(key, words) if "_" in key else says
    if not reply.right:
        return View(f"Not yet. {says}", {}, {}, (table,), hints, cautions=CAUTIONS)
    found = case.findings
    return View(f"{says}.", {}, {}, (table, *trap_tables(found)), (*hints, *found.notes), found.working, found.sources, CAUTIONS)


def _in_system(written: str, system: str) -> str:
    """'72 kg' or '180 g' in the system shown; other text as it is."""
    number, _, unit = written.partition(" ")
    if system == units.METRIC or unit not in ("kg", "g"):
        return written
    return units.show(float(number), unit, system, 2 if unit == "kg" else 3)


# ---- the person's own sheet ---------------------------------------------------------------------------------------------------

@dataclass(frozen=True)
class OwnCure:
    sheet: Sheet
    answer: CureAnswer
    lines: tuple[Checked, ...]
    own: bool


def own_cure_panel() -> Panel:
    """A sheet of one's own, line by line; the invented demo sheet until one is chosen."""
    def compute(values):
        own = values["file"] is not None
        try:
            sheet = read_uploaded(*values["file"]) if own else demo_sheet()
        except Faulty as error:
            return error
        place, day = RULES[values["rule"]]
        answer = cure_of(sheet, sheet.batch_kg * values["cook_yield_pct"] / 100, place, day, bowl_kg=bowl_weighed_kg(sheet))
        return OwnCure(sheet, answer, checked_lines(sheet, answer), own)

    controls = (File("file", "Choose a sheet (TOML, CSV, XLSX)", ".toml,.csv,.xlsx", "Your sheet"),
                Slider("cook_yield_pct", "Cook yield, %", "", 75, 100, 0.5, 90, "Process"), _rule_choice())
    return Panel("Your own sheet, line by line", controls, compute, own_cure_view, lambda system: {"names": charts.names_chart(system)})


def own_cure_view(result, values, system) -> View:
    if isinstance(result, Faulty):
        rows = tuple(Row((fault.where or "the file", fault.what, fault.remedy), "fails") for fault in result.faults)
        return View(f"This sheet cannot be used yet: {len(rows)} thing{'s' if len(rows) > 1 else ''} to mend, listed below. Nothing was changed in the file.",
                    {}, {}, (Table("What to mend", ("where", "what is wrong", "what to try"), rows),), cautions=CAUTIONS)
    answer = result.answer
    start = "" if result.own else "No file is chosen, so this is the invented demo sheet. "
    marks = {"stop": "fails", "check": "strong", "look": "", "no alarm": ""}
    lines = Table(f"{result.sheet.name}, line by line", ("line", "as written", "weight", "what it brings", "", "why"), tuple(
        Row((c.name, c.written, "" if c.kg is None else units.show(c.kg, "kg", system, 3), c.brings, c.state.upper() if c.state == "stop" else c.state, c.says),
            marks[c.state]) for c in result.lines))
    outcome = Table(f"The cure against {values['rule']}", ("what", "value", "limit", "margin", "source"), cure_rows(answer, system))
    ceilings = tuple(row for row in all_limits() if row.product_kind == "cooked sausage" and row.comparison == "max" and row.date_to is None and row not in answer.limits)
    return View(f"{start}{cure_sentence(answer)}", {"names": charts.names_data(answer.dose, answer.limits, ceilings, system)}, {"names": charts.names_text(answer.dose)},
                (lines, weigh_table(answer, system), outcome), answer.notes, answer.working, answer.sources, answer.cautions)
