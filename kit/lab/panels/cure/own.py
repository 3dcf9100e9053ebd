"""A sheet of one's own, line by line."""

from dataclasses import dataclass

from kit import allergens, units
from kit.chain.cure import CAUTIONS, Checked, CureAnswer, bowl_weighed_kg, checked_lines, cure_of
from kit.cure import editions
from kit.errors import Faulty
from kit.lab.charts import cure as charts
from kit.lab.panels.cure.pieces import (
    cure_rows,
    cure_sentence,
    other_ceilings,
    rule_choice,
    weigh_table,
)
from kit.lab.panels.panel import File, Panel, Row, Slider, Table, View
from kit.lab.panels.sheets import demo_sheet, read_uploaded
from kit.sheet import Sheet


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
        law = editions()[values["rule"]]
        answer = cure_of(
            sheet,
            sheet.batch_kg * values["cook_yield_pct"] / 100,
            law.jurisdiction,
            law.on,
            bowl_kg=bowl_weighed_kg(sheet),
        )
        return OwnCure(sheet, answer, checked_lines(sheet, answer), own)

    controls = (
        File("file", "Choose a sheet (TOML, CSV, XLSX)", ".toml,.csv,.xlsx", "Your sheet"),
        Slider("cook_yield_pct", "Cook yield, %", "", 75, 100, 0.5, 90, "Process"),
        rule_choice(),
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
        rows = tuple(
            Row((fault.where or "the file", fault.what, fault.remedy), "fails")
            for fault in result.faults
        )
        return View(
            f"This sheet cannot be used yet: {len(rows)} thing{'s' if len(rows) > 1 else ''} to mend, listed below. Nothing was changed in the file.",
            {},
            {},
            (Table("What to mend", ("where", "what is wrong", "what to try"), rows),),
            cautions=CAUTIONS,
        )
    answer = result.answer
    start = "" if result.own else "No file is chosen, so this is the invented demo sheet. "
    marks = {"stop": "fails", "check": "strong", "look": "", "no alarm": ""}
    lines = Table(
        f"{result.sheet.name}, line by line",
        ("line", "as written", "weight", "what it brings", "", "why"),
        tuple(
            Row(
                (
                    c.name,
                    c.written,
                    "" if c.kg is None else units.show(c.kg, "kg", system, 3),
                    c.brings,
                    c.state.upper() if c.state == "stop" else c.state,
                    c.says,
                ),
                marks[c.state],
            )
            for c in result.lines
        ),
    )
    outcome = Table(
        f"The cure against {values['rule']}",
        ("what", "value", "limit", "margin", "source"),
        cure_rows(answer, system),
    )
    return View(
        f"{start}{cure_sentence(answer)}",
        {
            "names": charts.names_data(
                answer.dose, answer.limits, other_ceilings(answer.limits), system
            )
        },
        {"names": charts.names_text(answer.dose)},
        (lines, weigh_table(answer, system), outcome),
        answer.notes,
        answer.working,
        answer.sources,
        (
            *answer.cautions,
            allergens.caution(
                [name for line in result.sheet.lines for name in (line.name, line.material.name)]
            ),
        ),
    )
