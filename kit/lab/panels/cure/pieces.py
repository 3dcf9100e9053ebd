"""What several panels show of a cure: controls, rows for an outcome table, one sentence, dosing errors, the weigh list."""

from collections.abc import Mapping
from math import floor, log10
from types import MappingProxyType

from kit import units
from kit.chain.cure import CureAnswer
from kit.cure.dose import Dose
from kit.cure.exposure import Exposure
from kit.cure.findings import DosingFindings
from kit.cure.premix import premixes
from kit.lab.charts import cure as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.panel import Row, Table, row
from kit.lab.panels.view import listing
from kit.rules.limits import Limit, all_limits, editions, usual_edition
from kit.rules.verdicts import Verdict
from kit.tables import STATUSES, value

PURE = "sodium nitrite, pure"
MIXES = tuple(name for name, mix in premixes().items() if not mix.concentrated)
BY_HAND = (*MIXES, PURE)
USUAL = "US curing salt, 6.25 % nitrite"
OF = {
    "meat": "of the meat",
    "batch": "of the batch",
    "finished": "of the finished product",
    "accelerators": "of accelerator and citrate",
}


def rule_of(name: str) -> tuple[Limit, ...]:
    """The limits behind a choice of `rule`."""
    return editions()[name].limits


def cure_controls(*keys: str, options: Mapping = MappingProxyType({}), **start) -> tuple:
    """Controls of these panels. `rule`: every edition in the data, starting with the usual one in force today."""
    of = {"mix": MIXES, "rule": tuple(editions())} | options
    at = {"mix": USUAL, "rule": usual_edition().name} | start
    return controls_of("cure", *keys, options=of, **at)


def law(values) -> str:
    """Which law is applied, with its day."""
    return editions()[values["rule"]].in_words


def grams(kg: float, system: str) -> str:
    """A small weight of nitrite."""
    return units.show(kg * 1000, "g", system, 2 if system == units.METRIC else 3)


def ppm(amount: float) -> str:
    """A dose in words: whole ppm, and one decimal below ten."""
    return f"{amount:.0f}" if amount >= 10 or amount == 0 else f"{amount:.2g}"


def other_ceilings(limits: tuple[Limit, ...]) -> tuple[Limit, ...]:
    """Ceilings in force elsewhere today, to be shown beside the rule chosen."""
    return tuple(
        row
        for row in all_limits()
        if row.comparison == "max" and row.in_force() and row not in limits
    )


def _counted(row: Limit, joint: str) -> str:
    """The form and the base that a limit counts on."""
    form = {"as used": "as the salt used", "": ""}.get(row.as_salt, f"as {row.as_salt}")
    return joint.join(part for part in (form, OF[row.basis]) if part)


def verdict_row(v: Verdict) -> Row:
    """One limit in the columns of the outcome table."""
    limit = v.limit
    if v.holds is None:
        margin = "not judged"
    elif v.holds:
        margin = f"{max(v.margin, 0):.3g} {limit.unit}"
    else:
        margin = f"✗ {-v.margin:.3g} {'over' if limit.comparison == 'max' else 'below'}"
    value = "not known" if v.value is None else f"{ppm(v.value)} {limit.unit}"
    what, bound = (
        f"{limit.quantity}, {_counted(limit, ', ')}",
        f"{limit.comparison_in_words} {ppm(limit.limit)}",
    )
    return row(what, value, bound, margin, v.source, mark="fails" if v.holds is False else "")


def dose_rows(found: Dose, verdicts, system: str) -> tuple[Row, ...]:
    """The nitrite on each basis without a limit, then every limit that applies to the batch."""
    spoken = {
        (v.limit.basis, "NaNO2" if v.limit.as_salt == "as used" else v.limit.as_salt)
        for v in verdicts
        if v.limit.quantity in ("nitrite ingoing", "nitrite finished")
    }
    lines = [("nitrite added, as NaNO2", grams(found.nitrite_kg, system))]
    lines += [
        (f"ingoing nitrite as {form} {OF[basis]}", f"{ppm(found.ppm(basis, form))} mg/kg")
        for basis, form in charts.NAMES
        if found.base_kg(basis) is not None and (basis, form) not in spoken
    ]
    touched = [
        v
        for v in verdicts
        if v.holds is False or v.limit.quantity.startswith("nitrite") or bool(v.value)
    ]
    return (
        *((*line, "", "", "computed") for line in lines),
        *(verdict_row(v) for v in touched),
    )


def cure_rows(answer: CureAnswer, system: str) -> tuple[Row, ...]:
    """Rows for an outcome table."""
    lines = []
    if answer.interval_ppm_of_meat:
        low, high = answer.interval_ppm_of_meat
        may_be, least = (
            f"{low:.0f} to {high:.0f} mg/kg",
            units.show(answer.least_meat_kg, "kg", system, 1),
        )
        within = f"within ± {value('dose_tolerance_pct'):g} %"
        step = "scale step and repeatability, ± 2 standard uncertainties"
        lines += [
            ("actual ingoing nitrite of the meat with this scale", may_be, "", "", step),
            ("smallest meat block for this scale", least, within, "", "computed"),
        ]
    counted = "computed, with the salt of the cure"
    for when, found in (("before the cook", answer.raw), ("after the cook", answer.finished)):
        if found:
            what = f"salt in the water phase, {when}"
            lines.append((what, f"{found.brine_pct:.2f} %", "", "", counted))
    if answer.finished:
        aw, sodium = f"{answer.finished.aw:.3f}", f"{answer.finished.sodium_mg_per_100g:.0f}"
        what = "water activity after the cook, salt only"
        lines += [
            (what, aw, "", "", "Pitzer relation, 25 °C"),
            ("sodium from salt", f"{sodium} mg per 100 g", "", "", "computed"),
        ]
    return (*dose_rows(answer.dose, answer.verdicts, system), *lines)


def cure_sentence(answer: CureAnswer) -> str:
    """The dose of a sheet's cure and its limits, in one or two sentences."""
    found = answer.findings
    if found.stops:
        why = found.stops[0]
        return f"Stop: {why.what}. {why.do[:1].upper()}{why.do[1:]}."
    start = f"Ingoing nitrite: {answer.dose.ppm_of_meat:.0f} ppm NaNO2 of the meat"
    if found.alarms:
        return f"{start}. Check: {found.alarms[0].what}."
    if answer.broken:
        v = answer.broken[0]
        return f"{start}. Limit not met: {ppm(v.value)} {v.limit.unit}, {v.limit.in_words}."
    if answer.ceiling:
        row = answer.ceiling.limit
        start += f"; nearest ceiling of {answer.jurisdiction}: {ppm(row.limit)} {row.unit} {OF[row.basis]}"
    if not answer.interval_ppm_of_meat:
        return f"{start}. No alarm."
    low, high = answer.interval_ppm_of_meat
    scale = f"{start}. Actual dose with this scale: {low:.0f} to {high:.0f} ppm"
    if answer.scale_may_pass_ceiling:
        return f"{scale}. Check: the upper end exceeds the ceiling, {answer.ceiling_ppm_of_meat:.0f} ppm; use a finer scale, a larger batch or a lower dose."
    return f"{scale}. No alarm."


def error_tables(found: DosingFindings) -> tuple[Table, ...]:
    """Certain faults, and every dosing error that fits the numbers: each with the dose as written, the intended dose, and the corrective action."""
    as_written, to_do = "as written (ppm of meat)", "corrective action"

    def written(ppm_of_meat: float | None) -> str:
        return "unknown" if ppm_of_meat is None else ppm(ppm_of_meat)

    certain = listing(
        "Certain faults",
        {
            "severity": lambda one: one.severity.upper(),
            "fault": lambda one: one.what,
            as_written: lambda one: written(one.gives_ppm_of_meat),
            "correct (ppm of meat)": lambda one: one.should_be,
            to_do: lambda one: one.do,
        },
        found.alarms,
        mark=lambda one: "fails" if one.severity == "stop" else "strong",
    )
    likely = listing(
        "Dosing errors that fit the numbers",
        {
            "dosing error": lambda one: one.error.name,
            "how": lambda one: one.detail,
            as_written: lambda one: ppm(one.ppm_of_meat),
            "probably intended (ppm of meat)": lambda one: ppm(one.intended_ppm_of_meat),
            to_do: lambda one: one.error.do,
            "how to distinguish": lambda one: one.error.tell,
        },
        found.explanations,
    )
    return tuple(table for table in (certain, likely) if table.rows)


def over_table(found: DosingFindings, eaten: Exposure) -> Table:
    """A dose as a multiple of the tightest ceiling, and a portion of the product as a multiple of the acceptable daily intake."""
    ceiling, dose = found.room_ppm_of_meat[1], found.dose.ppm_of_meat
    mark = "fails" if found.stop else ""
    of_ceiling = f"ceiling, {ppm(ceiling)} ppm of the meat"
    of_intake = f"acceptable daily intake (ADI) of an adult of {eaten.body_kg:g} kg, {eaten.adi_mg:.3g} mg; portion {eaten.portion_g:g} g, nitrite unreacted"
    return Table(
        "This dose as a multiple of",
        ("reference", "NaNO2", "multiple"),
        (
            row(of_ceiling, f"{ppm(dose)} ppm", f"{dose / ceiling:.3g}", mark=mark),
            row(of_intake, f"{eaten.eaten_mg:.3g} mg", f"{eaten.times_adi:.3g}", mark=mark),
        ),
    )


def _dated(row: Limit) -> str:
    start = f"from {row.date_from:%-d %b %Y}" if row.date_from else ""
    end = f"to {row.date_to:%-d %b %Y}" if row.date_to else ""
    dates = " ".join(part for part in (start, end) if part)
    return ", ".join(part for part in (row.edition, dates) if part)


def limits_table(chosen: tuple[Limit, ...]) -> Table:
    """Every row of law that the kit holds for cooked sausage, with edition, dates and how it was read."""
    own = [row for row in chosen if not row.published]
    return listing(
        "Every limit stored, with its edition",
        {
            "jurisdiction": lambda one: one.jurisdiction,
            "edition": _dated,
            "limit": lambda one: f"{one.quantity}, {one.amount}",
            "basis": lambda one: _counted(one, " "),
            "source read": lambda one: STATUSES[one.status],
            "place": lambda one: one.where,
        },
        (*own, *all_limits()),
        folded=True,
        mark=lambda one: "strong" if one in chosen else "",
    )


def weigh_table(answer: CureAnswer, system: str) -> Table:
    """The list for the scale, or one row that says why it is withheld."""
    if answer.withheld:
        return Table("Weigh list withheld", ("reason",), (row(answer.withheld, mark="fails"),))
    decimals = max(0, -floor(log10(answer.scale.step_g) + 1e-9)) if system == units.METRIC else 3

    def rounding(w) -> str:
        change = "none" if abs(w.change_pct) < 0.05 else f"{w.change_pct:+.1f} %".replace("-", "−")
        return "; ".join(part for part in (change, w.rounding) if part)

    def actual(w) -> str:
        return (
            f"{w.ppm_of_meat[0]:.0f} to {w.ppm_of_meat[1]:.0f} ppm of the meat"
            if w.ppm_of_meat
            else ""
        )

    return listing(
        "Weigh list for this scale",
        {
            "item": lambda w: w.name,
            "weight": lambda w: units.show(w.reading_g, "g", system, decimals),
            "per weight of meat": lambda w: units.show(w.per_kg_of_meat_g, "g/kg", system),
            "% of batch": lambda w: f"{w.pct_of_batch:.3g}",
            "rounding": rounding,
            "actual ingoing nitrite": actual,
        },
        answer.weights,
        mark=lambda w: "strong" if w.ppm_of_meat else "",
    )
