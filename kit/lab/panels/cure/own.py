"""A sheet of one's own, line by line."""

from typing import NamedTuple

from kit import allergens, units
from kit.chain.cure import CAUTIONS, Checked, CureAnswer, bowl_weighed_kg, checked_lines, cure_of
from kit.errors import Faulty
from kit.lab.charts import cure as charts
from kit.lab.panels.cure import pieces
from kit.lab.panels.panel import File, Panel, Row, Table, View
from kit.lab.panels.sheets import demo_sheet, faults_table, read_uploaded
from kit.rules.limits import editions
from kit.sheet import Sheet


class OwnCure(NamedTuple):
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
        law = editions()[values["rule"]]
        finished_kg = sheet.batch_kg * values["cook_yield_pct"] / 100
        bowl_kg = bowl_weighed_kg(sheet)
        answer = cure_of(sheet, finished_kg, law.jurisdiction, law.on, bowl_kg=bowl_kg)
        return OwnCure(sheet, answer, checked_lines(sheet, answer), own)

    controls = (
        File("file", "Choose a sheet (TOML, CSV, XLSX)", ".toml,.csv,.xlsx", "Your sheet"),
        pieces.COOK_YIELD,
        pieces.rule_choice(),
    )
    return Panel(
        "Your own sheet, line by line",
        controls,
        compute,
        own_cure_view,
        lambda system: {"names": charts.names_chart(system)},
    )


def own_cure_view(result, values, system) -> View:
    if isinstance(result, Faulty):
        count = len(result.faults)
        return View(
            f"This sheet cannot be used yet: {count} thing{'s' if count > 1 else ''} to mend, listed below. Nothing was changed in the file.",
            tables=(faults_table(result),),
            cautions=CAUTIONS,
        )
    answer = result.answer
    start = "" if result.own else "No file is chosen, so this is the invented demo sheet. "
    lines = Table(
        f"{result.sheet.name}, line by line",
        ("line", "as written", "weight", "what it brings", "", "why"),
        tuple(_line(checked, system) for checked in result.lines),
    )
    outcome = Table(
        f"The cure against {values['rule']}", pieces.OUTCOME, pieces.cure_rows(answer, system)
    )
    others = pieces.other_ceilings(answer.limits)
    names = [name for line in result.sheet.lines for name in (line.name, line.material.name)]
    return View(
        f"{start}{pieces.cure_sentence(answer)}",
        {"names": charts.names_data(answer.dose, answer.limits, others, system)},
        tables=(
            lines,
            *pieces.error_tables(answer.findings),
            pieces.weigh_table(answer, system),
            outcome,
        ),
        notes=answer.notes,
        steps=answer.working,
        sources=answer.sources,
        cautions=(*CAUTIONS, allergens.caution(names)),
    )


def _line(checked: Checked, system: str) -> Row:
    weight = "" if checked.kg is None else units.show(checked.kg, "kg", system, 3)
    state = "STOP" if checked.state == "stop" else checked.state
    mark = {"stop": "fails", "check": "strong"}.get(checked.state, "")
    return Row((checked.name, checked.written, weight, checked.brings, state, checked.says), mark)
