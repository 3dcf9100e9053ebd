"""What several panels show of a cure: rows for an outcome table, one sentence, traps, the weigh list."""

from math import floor, log10

from kit import units
from kit.chain.cure import CureAnswer
from kit.cure import (
    Dose,
    Exposure,
    Findings,
    Limit,
    Verdict,
    all_limits,
    editions,
    premix,
    premix_names,
    usual_edition,
)
from kit.lab.charts import cure as charts
from kit.lab.panels.panel import Choice, Row, Table
from kit.tables import STATUSES, value

PURE = "sodium nitrite, pure"
MIXES = tuple(name for name in premix_names() if not premix(name).concentrated)
BY_HAND = (*MIXES, PURE)
USUAL = "US curing salt, 6.25 % nitrite"
_FORM = {"as used": "as the salt used", "": ""}
OF = {
    "meat": "of the meat",
    "batch": "of the batch",
    "finished": "of the finished product",
    "accelerators": "of accelerator and citrate",
}


def rule_of(name: str) -> tuple[Limit, ...]:
    """The limits behind a choice of `rule_choice`."""
    return editions()[name].limits


def rule_choice() -> Choice:
    """Every edition in the data; it starts with the usual one in force today."""
    return Choice("rule", "Rule", tuple(editions()), usual_edition().name, "What is shown")


def other_ceilings(limits: tuple[Limit, ...]) -> tuple[Limit, ...]:
    """Ceilings in force elsewhere today, to be shown beside the rule chosen."""
    return tuple(
        row
        for row in all_limits()
        if row.product_kind == "cooked sausage"
        and row.comparison == "max"
        and row.in_force()
        and row not in limits
    )


def verdict_row(v: Verdict) -> Row:
    """One limit in the columns of the outcome table: what, value, limit, margin, source."""
    row = v.limit
    what = ", ".join(
        part
        for part in (row.quantity, _FORM.get(row.as_salt, f"as {row.as_salt}"), OF[row.basis])
        if part
    )
    margin = (
        "not judged"
        if v.holds is None
        else f"{max(v.margin, 0):.4g} inside"
        if v.holds
        else f"✗ {-v.margin:.4g} {'over' if row.comparison == 'max' else 'short'}"
    )
    return Row(
        (
            what,
            "not known" if v.value is None else f"{v.value:.5g} {row.unit}",
            f"{'at most' if row.comparison == 'max' else 'at least'} {row.limit:g}",
            margin,
            v.source,
        ),
        "fails" if v.holds is False else "",
    )


def _touched(v: Verdict) -> bool:
    return v.holds is False or v.limit.quantity.startswith("nitrite") or bool(v.value)


def dose_rows(found: Dose, verdicts, system: str) -> tuple[Row, ...]:
    """The nitrite under each name that no limit speaks of, then every limit that the batch touches."""
    spoken = {
        (v.limit.basis, "NaNO2" if v.limit.as_salt == "as used" else v.limit.as_salt)
        for v in verdicts
        if v.limit.quantity in ("nitrite ingoing", "nitrite finished")
    }
    names = tuple(
        Row(
            (
                f"nitrite as {form} {OF[basis]}",
                f"{found.ppm(basis, form):.5g} mg/kg",
                "",
                "",
                "computed",
            )
        )
        for basis, form in charts.NAMES
        if found.base_kg(basis) is not None and (basis, form) not in spoken
    )
    return (
        Row(
            (
                "nitrite that goes in, as NaNO2",
                units.show(
                    found.nitrite_kg * 1000, "g", system, 2 if system == units.METRIC else 3
                ),
                "",
                "",
                "computed",
            )
        ),
        *names,
        *(verdict_row(v) for v in verdicts if _touched(v)),
    )


def cure_rows(answer: CureAnswer, system: str) -> tuple[Row, ...]:
    """Rows for an outcome table (what, value, limit, margin, source)."""
    rows = [*dose_rows(answer.dose, answer.verdicts, system)]
    if answer.interval_ppm_of_meat:
        low, high = answer.interval_ppm_of_meat
        rows += [
            Row(
                (
                    "nitrite of the meat that this scale may really give",
                    f"{low:.0f} to {high:.0f} mg/kg",
                    "",
                    "",
                    "step and repeatability, 95 %",
                )
            ),
            Row(
                (
                    "smallest meat block this scale can dose",
                    units.show(answer.least_meat_kg, "kg", system, 1),
                    f"within ± {value('dose_tolerance_pct'):g} %",
                    "",
                    "computed",
                )
            ),
        ]
    for when, b in (("before the cook", answer.raw), ("after the cook", answer.finished)):
        if b:
            rows.append(
                Row(
                    (
                        f"salt in the water phase, {when}",
                        f"{b.brine_pct:.2f} %",
                        "",
                        "",
                        "computed, cure's own salt counted",
                    )
                )
            )
    if answer.finished:
        rows += [
            Row(
                (
                    "water activity after the cook, from salt alone",
                    f"{answer.finished.aw:.3f}",
                    "",
                    "",
                    "Pitzer relation, 25 °C",
                )
            ),
            Row(
                (
                    "sodium from salt",
                    f"{answer.finished.sodium_mg_per_100g:.0f} mg per 100 g",
                    "",
                    "",
                    "computed",
                )
            ),
        ]
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
    room = (
        f"; the nearest ceiling of {answer.jurisdiction} is {v.limit.limit:g} {v.limit.unit} {OF[v.limit.basis]}"
        if v
        else ""
    )
    if not answer.interval_ppm_of_meat:
        return f"{start}{room}. No alarm."
    low, high = answer.interval_ppm_of_meat
    scale = f"{start}{room}. On this scale it may be {low:.0f} to {high:.0f} ppm"
    if answer.scale_may_pass_ceiling:
        return f"{scale}. Check: the upper end exceeds the ceiling, {answer.ceiling_ppm_of_meat:.0f} ppm; use a finer scale, a larger batch or a lower dose."
    return f"{scale}. No alarm."


def trap_tables(found: Findings) -> tuple[Table, ...]:
    """What is wrong for certain, and every slip that fits the numbers: each with what was written, what is meant, and what to do."""
    tables = ()
    if found.alarms:
        tables += (
            Table(
                "What is wrong for certain",
                (
                    "",
                    "what",
                    "as written gives, ppm of the meat",
                    "should be, ppm of the meat",
                    "what to do",
                ),
                tuple(
                    Row(
                        (
                            a.severity.upper(),
                            a.what,
                            "unknown" if a.gives_ppm_of_meat is None else ppm(a.gives_ppm_of_meat),
                            a.should_be,
                            a.do,
                        ),
                        "fails" if a.severity == "stop" else "strong",
                    )
                    for a in found.alarms
                ),
            ),
        )
    if found.explanations:
        tables += (
            Table(
                "Slips that would explain it; the numbers alone cannot choose",
                (
                    "slip",
                    "how",
                    "as written gives, ppm of the meat",
                    "likely meant, ppm of the meat",
                    "what to do",
                    "to tell them apart",
                ),
                tuple(
                    Row(
                        (
                            e.name,
                            e.detail,
                            ppm(e.ppm_of_meat),
                            ppm(e.intended_ppm_of_meat),
                            e.do,
                            e.tell,
                        )
                    )
                    for e in found.explanations
                ),
            ),
        )
    return tables


def ppm(amount: float) -> str:
    """A dose in words: whole ppm, and one decimal below ten."""
    return f"{amount:.0f}" if amount >= 10 or amount == 0 else f"{amount:.2g}"


def over_table(found: Findings, eaten: Exposure) -> Table:
    """A dose as a multiple of the tightest ceiling, and a portion of the product as a multiple of the acceptable daily intake."""
    ceiling, dose = found.band.high_kg * 1e6 / found.dose.meat_kg, found.dose.ppm_of_meat
    return Table(
        "This dose as multiples",
        ("", "as NaNO2", "times"),
        (
            Row(
                (
                    f"of the ceiling, {ceiling:.4g} ppm of the meat",
                    f"{ppm(dose)} ppm",
                    f"{dose / ceiling:.3g}",
                ),
                "fails" if found.stop else "",
            ),
            Row(
                (
                    f"of the acceptable daily intake (ADI) of an adult of {eaten.body_kg:g} kg, {eaten.adi_mg_nano2:.3g} mg, by {eaten.portion_g:g} g of the product in which nothing has reacted",
                    f"{eaten.eaten_mg_nano2:.3g} mg",
                    f"{eaten.times_adi:.3g}",
                ),
                "fails" if found.stop else "",
            ),
        ),
    )


def limits_table(chosen: tuple[Limit, ...]) -> Table:
    """Every row of law that the kit holds for cooked sausage, with edition, dates and how it was read."""

    def dates(row):
        return " ".join(
            part
            for part in (
                f"from {row.date_from:%-d %b %Y}" if row.date_from else "",
                f"to {row.date_to:%-d %b %Y}" if row.date_to else "",
            )
            if part
        )

    return Table(
        "Every limit held here, with its edition and how it was read",
        ("whose", "edition", "limit", "counted", "how it was read", "where"),
        tuple(
            Row(
                (
                    row.jurisdiction,
                    ", ".join(part for part in (row.edition, dates(row)) if part),
                    f"{row.quantity}, {'at most' if row.comparison == 'max' else 'at least'} {row.limit:g} {row.unit}",
                    " ".join(
                        part
                        for part in (_FORM.get(row.as_salt, f"as {row.as_salt}"), OF[row.basis])
                        if part
                    ),
                    STATUSES[row.status],
                    row.where,
                ),
                "strong" if row in chosen else "",
            )
            for row in (
                *(row for row in chosen if not row.published),
                *(row for row in all_limits() if row.product_kind == "cooked sausage"),
            )
        ),
        folded=True,
    )


def weigh_table(answer: CureAnswer, system: str) -> Table:
    """The list for the scale, or one row that says why it is withheld."""
    if answer.withheld:
        return Table("Weigh list: withheld", ("why",), (Row((answer.withheld,), "fails"),))
    decimals = max(0, -floor(log10(answer.scale.step_g) + 1e-9)) if system == units.METRIC else 3
    return Table(
        "Weigh list, as this scale shows it",
        ("weigh", "weight", "per kg of meat", "of the batch", "rounding", "nitrite it may give"),
        tuple(
            Row(
                (
                    w.name,
                    units.show(w.reading_g, "g", system, decimals),
                    units.show(w.per_kg_of_meat_g, "g/kg", system),
                    f"{w.pct_of_batch:.3g} %",
                    "; ".join(part for part in (_signed(w.change_pct), w.rounding) if part),
                    ""
                    if w.ppm_low_of_meat is None
                    else f"{w.ppm_low_of_meat:.0f} to {w.ppm_high_of_meat:.0f} ppm of the meat",
                ),
                "strong" if w.ppm_low_of_meat is not None else "",
            )
            for w in answer.weights
        ),
    )


def _signed(pct: float) -> str:
    return "none" if abs(pct) < 0.05 else f"{pct:+.1f} %".replace("-", "−")
