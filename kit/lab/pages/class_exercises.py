"""The exercises of every station on paper, one sheet each, and one sheet of worked examples: all that the page 11_your_station asks, for a class without computers."""

from html import escape

from kit.classroom.codes import station_code
from kit.classroom.plan import ClassPlan
from kit.cure.cautions import NITRITE
from kit.lab.lessons.station import WORKED_EXAMPLE, exercises
from kit.lab.pages import table
from kit.lab.pages.class_cards import document

CAUTIONS = {2: f' <span class="caution">{escape(NITRITE)}</span>'}
"""exercise -> the caution that belongs to it"""
_STYLE = "<style>.room { height: 10mm; text-align: right; }</style>"


def exercises_html(plan: ClassPlan) -> str:
    """The sheets: escaped, without script, link or font. They hold no answer but those of the worked examples."""
    body = "".join((*(_sheet(plan, one) for one in plan.present), _examples(plan), _STYLE))
    return document(plan, f"Class {plan.class_number}: exercises", body)


def _sheet(plan: ClassPlan, station: int) -> str:
    asked = "".join(
        f'<p><strong>{n}</strong> {_text(one.question)}{CAUTIONS.get(n, "")}</p><p class="room">= ____________ {escape(one.unit)}</p>'
        for n, one in enumerate(exercises(plan.seed, station), 1)
    )
    code = station_code(station, plan.class_number)
    end = "<p><strong>Our conclusion in one sentence, after the class's result:</strong></p>"
    return f'<section class="sheet"><h1>Station {station}: exercises</h1><p>Class {plan.class_number}, code {code}. Each station has its own numbers; the worked examples are on a sheet of their own.</p>{asked}{end}</section>'


def _examples(plan: ClassPlan) -> str:
    parts = []
    for n, one in enumerate(exercises(plan.seed, WORKED_EXAMPLE), 1):
        answer, *working = one.solution().splitlines()
        lines = "<br>".join(escape(line.strip()) for line in working)
        parts.append(
            f"<p><strong>{n}</strong> {_text(one.question)}</p><p>{lines}<br><strong>{escape(answer)}</strong></p>"
        )
    return f'<section class="sheet"><h1>Worked examples</h1>{"".join(parts)}</section>'


def answers_of(plan: ClassPlan) -> str:
    """For the teacher's page: the answers of every station."""
    rows, asked = [], exercises(plan.seed, WORKED_EXAMPLE)
    for station in plan.present:
        asked = exercises(plan.seed, station)
        shown = (one.shown(one.solve()[0]).removesuffix(one.unit) for one in asked)
        rows.append((station, *shown))
    head = "station", *(f"{n} {one.unit}" for n, one in enumerate(asked, 1))
    return f"<h2>Answers to the exercises</h2>{table(head, rows, named=True)}"


def _text(question: str) -> str:
    return escape(question).replace("\n", "<br>")
