"""One dose of cure under its four names."""

from dataclasses import dataclass

from kit import units
from kit.chain.cure import CAUTIONS
from kit.cure import CureLine, Plan, cautions, find_dosing_errors
from kit.cure.findings import DosingFindings
from kit.cure.limits import judge
from kit.cure.premix import premix
from kit.lab.charts import cure as charts
from kit.lab.panels.cure import pieces
from kit.lab.panels.cure.pieces import OF
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Panel, Table, View
from kit.rules.limits import Limit, limit, own_limit
from kit.rules.verdicts import Verdict


@dataclass(frozen=True)
class NamedDose:
    findings: DosingFindings
    limits: tuple[Limit, ...]
    verdicts: tuple[Verdict, ...]

    @property
    def dose(self):
        return self.findings.dose


def dose_panel() -> Panel:
    """The same weight of cure as ppm of meat, batch and finished product, and as the ion."""
    counts = tuple((f"{form}, {OF[basis]}", (basis, form)) for basis, form in charts.NAMES)
    batch = ("meat_kg", "rest_pct_of_meat", "mix", "rate_g_per_kg", "cook_yield_pct")
    shown = ("rule", "measured_ppm", "own_ppm", "own_on")
    controls = pieces.cure_controls(*batch, *shown, options={"own_on": counts})

    def compute(values) -> NamedDose:
        meat, limits = values["meat_kg"], pieces.rule_of(values["rule"])
        line = CureLine(premix(values["mix"]), meat * values["rate_g_per_kg"] / 1000)
        batch = meat * (1 + values["rest_pct_of_meat"] / 100) + line.kg
        if values["own_ppm"]:
            basis, form = values["own_on"]
            figure = values["own_ppm"]
            limits += (own_limit(figure, basis=basis, counted_as=form),)
        done = batch * values["cook_yield_pct"] / 100
        found = find_dosing_errors(Plan(meat, batch, done, cure=(line,), limits=limits))
        left = values["measured_ppm"] or None
        return NamedDose(found, limits, judge(found.dose, limits, residual_ppm=left))

    old_eu = limit("eu_after_cooked")
    presets = {
        "Weaker premix at the same rate": {"mix": "nitrite salt 0.6 %", "rate_g_per_kg": 2.4},
        "Old EU rate under the new EU rule": {
            "rule": f"{old_eu.jurisdiction}, {old_eu.edition}",
            "rate_g_per_kg": 3.3,
        },
    }
    return Panel(
        "Ingoing nitrite on four bases",
        controls,
        compute,
        dose_view,
        {"names": charts.names_chart},
        presets,
    )


def dose_view(named: NamedDose, values, system) -> View:
    found = named.dose
    premix_g = units.show(found.cure_kg * 1000, "g", system)
    sentence = (
        f"{premix_g} of premix with {pieces.grams(found.nitrite_kg, system)} of nitrite: {found.ppm('meat'):.0f} ppm of the meat, {found.ppm('batch'):.0f} of the batch, "
        f"{found.ppm('finished'):.0f} of the finished product, or {found.ppm('batch', 'NO2'):.0f} ppm of the batch as nitrite ion. {_judged(named, values['rule'])}"
    )
    for v in named.verdicts:
        if v.limit.quantity == "nitrite residual" and v.holds is False:
            sentence += f" The residual nitrite exceeds its limit, {v.limit.in_words}."
    against = Table(
        f"Limits of {values['rule']}", COLUMNS, pieces.dose_rows(found, named.verdicts, system)
    )
    others = pieces.other_ceilings(named.limits)
    left = any(row.quantity == "nitrite residual" for row in named.limits)
    return View(
        sentence,
        {"names": charts.names_data(found, named.limits, others, system)},
        tables=(*pieces.error_tables(named.findings), against, pieces.limits_table(named.limits)),
        notes=(pieces.law(values),),
        cautions=(*CAUTIONS, cautions.RESIDUAL),
        idle={} if left else {"measured_ppm": "this rule has no limit on residual nitrite"},
    ).of(named.findings)


def _judged(named: NamedDose, rule: str) -> str:
    ceiling = named.findings.band.high_limit
    if named.findings.stop:
        whose = rule if ceiling.published else "your own limit"
        return f"Above the ceiling of {whose}: do not weigh this dose."
    if any(alarm.key == "under_floor" for alarm in named.findings.alarms):
        asked = any(
            row.quantity == "nitrite ingoing" and row.comparison == "min" for row in named.limits
        )
        floor = f"minimum ingoing nitrite ({rule})" if asked else "usual lowest dose"
        return f"Below the {floor}; {cautions.TOO_LITTLE}."
    v = next((v for v in named.verdicts if v.limit.caps_nitrite), None)
    if v is None:
        return f"{rule} sets no ceiling on ingoing nitrite; the highest one in force elsewhere: {ceiling.in_words}."
    form = "nitrite ion" if v.limit.as_salt == "NO2" else "NaNO2"
    return f"Limit of {rule}: at most {v.limit.limit:.0f} ppm {form} {OF[v.limit.basis]}; this dose {v.value:.0f}."
