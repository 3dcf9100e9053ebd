"""The cure of a whole sheet: dose, alarms, weigh list."""

from kit import allergens
from kit.chain.cure import CAUTIONS, CureAnswer, bowl_weighed_kg, cure_of
from kit.cure import cautions
from kit.lab.panels.cure import pieces
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.sheets import starting_sheet
from kit.rules.limits import editions
from kit.sheet import Sheet


def own_cure_panel(sheet: Sheet | None = None) -> Panel:
    """The cure of a sheet; of the current batch, else of the invented demo sheet, where none is given."""
    sheet = sheet or starting_sheet()
    bowl_kg = bowl_weighed_kg(sheet)
    names = [name for line in sheet.lines for name in (line.name, line.material.name)]

    def compute(values) -> CureAnswer:
        law = editions()[values["rule"]]
        finished_kg = sheet.batch_kg * values["cook_yield_pct"] / 100
        return cure_of(sheet, finished_kg, law.jurisdiction, law.on, bowl_kg=bowl_kg)

    def view(answer: CureAnswer, values, system: str) -> View:
        outcome = f"Limits of {values['rule']}"
        return View(
            f"{sheet.name}. {pieces.cure_sentence(answer)}",
            tables=(
                *pieces.error_tables(answer.findings),
                pieces.weigh_table(answer, system),
                Table(outcome, COLUMNS, pieces.cure_rows(answer, system)),
            ),
            cautions=(*CAUTIONS, cautions.BLENDS, allergens.caution(names)),
        ).of(answer)

    controls = pieces.cure_controls("cook_yield_pct", "rule")
    return Panel("Cure of your batch", controls, compute, view)
