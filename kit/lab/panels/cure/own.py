"""A sheet of one's own: dose, alarms, weigh list."""

from typing import NamedTuple

from kit import allergens
from kit.chain.cure import CAUTIONS, CureAnswer, bowl_weighed_kg, cure_of
from kit.cure import cautions
from kit.errors import Faulty
from kit.lab.charts import cure as charts
from kit.lab.panels.cure import pieces
from kit.lab.panels.outcome import COLUMNS
from kit.lab.panels.panel import File, Panel, Table, View
from kit.lab.panels.sheets import faults_view, read_uploaded, starting_sheet
from kit.rules.limits import editions
from kit.sheet import Sheet


class OwnCure(NamedTuple):
    sheet: Sheet
    answer: CureAnswer
    own: bool


def own_cure_panel() -> Panel:
    """A sheet of one's own; the invented demo sheet until one is chosen."""

    def compute(values):
        own = values["file"] is not None
        try:
            sheet = read_uploaded(*values["file"]) if own else starting_sheet()
        except Faulty as error:
            return error
        law = editions()[values["rule"]]
        finished_kg = sheet.batch_kg * values["cook_yield_pct"] / 100
        bowl_kg = bowl_weighed_kg(sheet)
        answer = cure_of(sheet, finished_kg, law.jurisdiction, law.on, bowl_kg=bowl_kg)
        return OwnCure(sheet, answer, own)

    controls = (
        File("file", "Choose a sheet (TOML, CSV, XLSX)", ".toml,.csv,.xlsx", "Your sheet"),
        pieces.COOK_YIELD,
        pieces.rule_choice(),
    )
    return Panel(
        "Your own sheet",
        controls,
        compute,
        own_cure_view,
        lambda system: {"names": charts.names_chart(system)},
    )


def own_cure_view(result, values, system) -> View:
    if isinstance(result, Faulty):
        return faults_view(result, cautions=CAUTIONS)
    answer = result.answer
    start = "" if result.own else "No file is chosen, so this is the invented demo sheet. "
    outcome = Table(f"The cure against {values['rule']}", COLUMNS, pieces.cure_rows(answer, system))
    others = pieces.other_ceilings(answer.limits)
    names = [name for line in result.sheet.lines for name in (line.name, line.material.name)]
    return View(
        f"{start}{pieces.cure_sentence(answer)}",
        {"names": charts.names_data(answer.dose, answer.limits, others, system)},
        tables=(
            *pieces.error_tables(answer.findings),
            pieces.weigh_table(answer, system),
            outcome,
        ),
        notes=answer.notes,
        steps=answer.working,
        sources=answer.sources,
        cautions=(*CAUTIONS, cautions.BLENDS, allergens.caution(names)),
    )
