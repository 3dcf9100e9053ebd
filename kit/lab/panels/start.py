"""The second panel of 00_start_here: what lean meat, ice, binder and salt do to one batch and its limits."""

from kit import units
from kit.chain import Followed, follow
from kit.chain.mixes import amounts_of, cheapest_of, varied
from kit.cure import cautions as cure_cautions
from kit.errors import KitError
from kit.lab.charts import meat_block as mix_charts
from kit.lab.charts.section import section_chart
from kit.lab.panels.chop import chop_rows
from kit.lab.panels.controls import controls_of
from kit.lab.panels.cure.pieces import cure_sentence, error_tables
from kit.lab.panels.emulsion import emulsion_rows
from kit.lab.panels.emulsion.batch import calibration_of, saved_control
from kit.lab.panels.emulsion.words import section_of_sheet
from kit.lab.panels.outcome import (
    COLUMNS,
    cautions,
    outcome_sentence,
    outcome_table,
    room_table,
    uncertainty_tables,
)
from kit.lab.panels.panel import Panel, Table, View, row
from kit.lab.panels.sheets import starting_sheet
from kit.rules.limits import editions
from kit.rules.rule_sets import rule_sets
from kit.sheet import Sheet

AS_ON_SHEET = "the sheet's choice, else US"


def batch_panel(sheet: Sheet | None = None) -> Panel:
    """Meat block, ice, binder and salt of one sheet against its rule."""
    sheet = sheet or starting_sheet()
    now = amounts_of(sheet)
    rules = (("the sheet's choice", ""), *((str(one), key) for key, one in rule_sets().items()))
    options = {"rule": rules, "cure_rule": (AS_ON_SHEET, *editions())}
    start = {
        "lean_pct_of_meat": round(now["lean_pct_of_meat"]),
        "ice_pct_of_meat": round(now["ice_pct_of_meat"]),
        "binder_pct_of_batch": round(now["binder_pct_of_batch"], 1),
        "salt_pct_of_batch": round(now["salt_pct_of_batch"], 1),
        "cook_yield_pct": round(follow(sheet).cook_yield.pct, 1),
    }

    def compute(values) -> Followed:
        law = editions().get(values["cure_rule"])
        return follow(
            varied(sheet, values),
            values["cook_yield_pct"],
            rule_sets().get(values["rule"]),
            calibration_of(values["calibration"]),
            **({"cure_rule": law.jurisdiction, "on": law.on} if law else {}),
        )

    presets = {
        "Too much ice": {"ice_pct_of_meat": 62},
        "Trim fat underestimated": {"lean_pct_of_meat": 4},
        "Binder above its limit": {"binder_pct_of_batch": 4.2},
    }
    charts = {
        "composition": mix_charts.composition_chart,
        "limits": mix_charts.limits_chart,
        "section": section_chart,
    }
    title = f"{sheet.name}: meat block, ice and binder"
    controls = (*controls_of("batch", options=options, **start), saved_control())
    return Panel(title, controls, compute, batch_view, charts, presets)


def batch_view(followed: Followed, values, system) -> View:
    cure = followed.cure
    pictured, said = section_of_sheet(followed.sheet, followed.calibration)
    first = f"{cure_sentence(cure)} " if cure.findings.stop else ""
    tables = (
        *error_tables(cure.findings),
        outcome_table(followed, system),
        *uncertainty_tables(followed, system),
        *((room_table(followed, system),) if followed.rules else ()),
        *_cheapest(followed, system),
        Table(
            "Chopping and emulsion: temperature, margins, predicted cook-out",
            COLUMNS,
            folded=True,
            later=lambda: (
                *chop_rows(followed.chop, system),
                *emulsion_rows(followed.emulsion, system),
            ),
        ),
    )
    return View(
        first + outcome_sentence(followed),
        {
            "composition": mix_charts.composition_data(followed.batter, followed.finished),
            "limits": mix_charts.limits_data(followed.verdicts, followed.fat),
        }
        | pictured,
        text={"composition": mix_charts.composition_text(followed.batter, followed.finished)}
        | said,
        tables=tables,
        cautions=(*cautions(followed.ingredient_names), cure_cautions.NITRITE, cure_cautions.LAW),
    ).of(followed, cure)


def _cheapest(followed: Followed, system: str) -> tuple[Table, ...]:
    """The cheapest mix of the sheet's own materials at its own prices, where the sheet gives prices and a rule."""
    sheet = followed.sheet
    bought = sheet.of_kind("meat", "binder")
    if followed.rules is None or any(line.price_per_kg is None for line in bought):
        return ()

    def kg(weight: float) -> str:
        return units.show(weight, "kg", system)

    def price(per_kg: float) -> float:
        return float(units.to_shown(per_kg, "money/kg", system))

    def fill():
        try:
            answer = cheapest_of(sheet, followed.rules, followed.cook_yield.pct)
        except KitError as error:
            return (row(str(error), "", "", "", mark="strong"),)
        now = sum((line.price_per_kg or 0) * line.kg for line in sheet.lines)
        total = "cost of the batch (at the sheet's prices)"
        rows = [
            row(line.name, kg(line.kg), kg(float(best)), f"{price(line.price_per_kg or 0):.2f}")
            for line, best in zip(sheet.lines, answer.kg)
        ]
        rows.append(row(total, f"{now:.2f}", f"{answer.cost:.2f}", sheet.currency, mark="strong"))
        for r in answer.relaxed:
            name = f"limit not met: {r.name}, {r.side} {r.limit:g} {r.unit}"
            rows.append(row(name, "", f"reached {r.value:.2f}", f"by {-r.room:.2f}", mark="fails"))
        return tuple(rows)

    money = f"price ({units.shown_unit('money/kg', system)})"
    columns = ("material", "planned", "least cost", money)
    caption = "Least-cost mix of this sheet's materials"
    return (Table(caption, columns, folded=True, later=fill),)
