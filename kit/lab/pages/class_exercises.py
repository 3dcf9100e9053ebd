"""The exercises of every station on paper, one sheet each, and one sheet of worked examples: all that the page 11_your_station asks, for a class without computers."""

from html import escape

from kit.classroom.codes import station_code
from kit.classroom.plan import ClassPlan
from kit.cure.cautions import NITRITE
from kit.lab.lessons.station import WORKED_EXAMPLE, exercises
from kit.lab.pages import Markup, filled, table
from kit.lab.pages.class_cards import document

CAUTIONS = {2: f' <span class="caution">{escape(NITRITE)}</span>'}
"""exercise -> the caution that belongs to it"""


def exercises_html(plan: ClassPlan) -> str:
    """The sheets: escaped, without script, link or font. They hold no answer but those of the worked examples."""
    return document(
        plan, "exercises", (*(_sheet(plan, one) for one in plan.present), _examples(plan))
    )


def _sheet(plan: ClassPlan, station: int) -> str:
    asked = "".join(
        f'<p><strong>{n}</strong> {_text(one.question)}{CAUTIONS.get(n, "")}</p><p class="room">= ____________ {escape(one.unit)}</p>'
        for n, one in enumerate(exercises(plan.seed, station), 1)
    )
    code = station_code(station, plan.class_number)
    return filled(
        "class_exercises.html", station=station, plan=plan, code=code, asked=Markup(asked)
    )


def _examples(plan: ClassPlan) -> str:
    parts = []
    for n, one in enumerate(exercises(plan.seed, WORKED_EXAMPLE), 1):
        answer, *working = one.solution().splitlines()
        lines = "<br>".join(escape(line.strip()) for line in working)
        parts.append(
            f"<p><strong>{n}</strong> {_text(one.question)}</p><p>{lines}<br><strong>{escape(answer)}</strong></p>"
        )
    return f'<section class="sheet"><h1>Worked examples</h1>{"".join(parts)}</section>'


def answers_of(plan: ClassPlan) -> Markup:
    """For the teacher's page: the answers of every station."""
    asked = {station: exercises(plan.seed, station) for station in plan.present}
    rows = (
        (station, *(one.shown(one.solve()[0]).removesuffix(one.unit) for one in its))
        for station, its in asked.items()
    )
    units = (one.unit for one in exercises(plan.seed, WORKED_EXAMPLE))
    return table(("station", *(f"{n} {unit}" for n, unit in enumerate(units, 1))), rows, named=True)


def _text(question: str) -> str:
    return escape(question).replace("\n", "<br>")
