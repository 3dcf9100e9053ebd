"""One dose of cure under its four names."""

from dataclasses import dataclass

from kit import units
from kit.chain.cure import CAUTIONS
from kit.cure import (
    CureLine,
    Dose,
    Findings,
    Limit,
    Plan,
    Verdict,
    cautions,
    editions,
    find_traps,
    judge,
    limit,
    own_limit,
    premix,
)
from kit.cure.dose import BASES
from kit.cure.salts import NITRITES
from kit.lab.charts import cure as charts
from kit.lab.panels.cure.pieces import (
    MIXES,
    OF,
    USUAL,
    dose_rows,
    limits_table,
    other_ceilings,
    rule_choice,
    rule_of,
    trap_tables,
)
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View


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
        Slider(
            "rest_pct_of_meat",
            "Ice and all else, % of meat",
            "",
            10,
            80,
            1,
            38,
            "Ice, binder, spice",
        ),
        Choice("mix", "Premix in the bag", MIXES, USUAL, "Cure"),
        Slider("rate_g_per_kg", "Premix per weight of meat", "g/kg", 0.5, 50, 0.1, 2.4, "Cure"),
        Slider("cook_yield_pct", "Cook yield, %", "", 75, 100, 0.5, 90, "Process"),
        rule_choice(),
        Slider("own_ppm", "Your own ceiling, ppm (0: none)", "", 0, 200, 1, 0, "What is shown"),
        Choice(
            "own_on",
            "Yours counts",
            tuple((f"{form}, {OF[basis]}", (basis, form)) for basis, form in charts.NAMES),
            charts.NAMES[0],
            "What is shown",
        ),
    )

    def compute(values) -> Named:
        meat = values["meat_kg"]
        line = CureLine(premix(values["mix"]), meat * values["rate_g_per_kg"] / 1000)
        batch = meat * (1 + values["rest_pct_of_meat"] / 100) + line.kg
        limits = rule_of(values["rule"])
        if values["own_ppm"]:
            basis, form = values["own_on"]
            limits += (
                own_limit("nitrite ingoing", values["own_ppm"], basis=basis, counted_as=form),
            )
        found = find_traps(
            Plan(meat, batch, (line,), batch * values["cook_yield_pct"] / 100, limits)
        )
        return Named(found.dose, found, limits, judge(found.dose, limits))

    presets = {
        "Another bag, same rate": {"mix": "nitrite salt 0.6 %", "rate_g_per_kg": 2.4},
        "Weak bag's rate, strong bag": {"mix": USUAL, "rate_g_per_kg": 20},
        "Rate taken on the batch": {"rate_g_per_kg": 3.3},
        "Old EU rate, new EU rule": {"rule": _name("eu_after_cooked"), "rate_g_per_kg": 3.3},
        "Your own is stricter": {"own_ppm": 130},
    }
    return Panel(
        "One weight of nitrite, four numbers",
        controls,
        compute,
        dose_view,
        lambda system: {"names": charts.names_chart(system)},
        presets,
    )


def dose_view(named: Named, values, system) -> View:
    found = named.dose
    premix_g = units.show(found.cure_kg * 1000, "g", system)
    nitrite_g = units.show(found.nitrite_kg * 1000, "g", system, 2 if system == units.METRIC else 3)
    sentence = (
        f"{premix_g} of premix bring {nitrite_g} of nitrite: {found.ppm('meat'):.0f} ppm of the meat, {found.ppm('batch'):.0f} of the batch, "
        f"{found.ppm('finished'):.0f} of the finished product, and {found.ppm('batch', 'NO2'):.0f} ppm of the batch as the ion. {_judged(named, values['rule'])}"
    )
    table = Table(
        f"Against {values['rule']}",
        ("what", "value", "limit", "margin", "source"),
        dose_rows(found, named.verdicts, system),
    )
    return View(
        sentence,
        {"names": charts.names_data(found, named.limits, other_ceilings(named.limits), system)},
        {"names": charts.names_text(found)},
        (*trap_tables(named.findings), table, _forms(found), limits_table(named.limits)),
        (editions()[values["rule"]].in_words, *named.findings.notes),
        named.findings.working,
        named.findings.sources,
        CAUTIONS,
    )


def _name(key: str) -> str:
    """The choice that applies this row of law."""
    row = limit(key)
    return f"{row.jurisdiction}, {row.edition}"


def _forms(found: Dose) -> Table:
    """The same nitrite as each form on each base."""
    return Table(
        "The same nitrite as sodium salt, potassium salt and ion, ppm",
        ("per kg of", *NITRITES),
        tuple(
            Row(
                (
                    OF[basis].removeprefix("of "),
                    *(f"{found.ppm(basis, form):.1f}" for form in NITRITES),
                )
            )
            for basis in BASES
        ),
        folded=True,
    )


def _judged(named: Named, rule: str) -> str:
    if named.findings.stop:
        return f"Above the ceiling of {'your own limit' if named.findings.band.high_limit.jurisdiction == 'own' else rule}: do not weigh it."
    if any(alarm.key == "under_floor" for alarm in named.findings.alarms):
        asked = any(
            row.quantity == "nitrite ingoing" and row.comparison == "min" for row in named.limits
        )
        return f"Below the {f'minimum ingoing nitrite ({rule})' if asked else 'usual lowest dose'}; {cautions.TOO_LITTLE}."
    v = next((v for v in named.verdicts if v.limit.caps_nitrite), None)
    if v is None:
        return f"{rule} sets no ceiling on ingoing nitrite; the loosest one in force elsewhere is {named.findings.band.high_why}."
    form = "the ion" if v.limit.as_salt == "NO2" else "the salt"
    return f"{rule} counts {form} per kg {OF[v.limit.basis]}: {v.value:.0f} of at most {v.limit.limit:.0f} ppm."
