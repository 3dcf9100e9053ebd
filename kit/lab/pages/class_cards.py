"""The cards of a class on paper: two sheets a station, and a sheet of labels. They stand alone and print; the second sheet shows no level."""

from collections.abc import Iterable
from functools import lru_cache
from html import escape

import segno

from kit import units
from kit.classroom.codes import station_code
from kit.classroom.plan import ClassPlan
from kit.classroom.recipe import BatterSheet, weigh_sheets
from kit.lab.pages import Markup, filled, table
from kit.plan.weigh import WeighRow
from kit.tables import data_path
from kit.trial.rows import words_of

NOT_EATEN = "Nothing made in this lesson is eaten. A tube in a hot bath is a measurement, no cook."
EATEN = "Food is eaten only as local codes and licensed practice allow. A tube in a hot bath is a measurement, no cook: nothing from a tube is eaten."
STEPS = {name: (text, caution) for name, text, caution in words_of("step")}
"""step -> what to do, the caution where it bites"""


def cards_html(plan: ClassPlan, station: int | None = None) -> str:
    """The cards of every station, or of one: escaped, without script, link or font.

    The first sheet is for who makes the batters, the second for who reads the tubes.
    """
    chosen = plan.present if station is None else (station,)
    sides = (side(plan, one) for one in chosen for side in (_recipe_side, _tube_side))
    return document(plan, "cards", sides)


def labels_html(plan: ClassPlan) -> str:
    """Labels for the tubes of every station, three spare ones each."""
    found = []
    for station in plan.present:
        spare = f"station {station}, spare<br><br>S{station:02d} B__ T__ – __"
        codes = (
            f'{qr(text)}<span class="code">{text}</span>' for text, *_ in plan.tubes_of(station)
        )
        labels = (f'<div class="label">{one}</div>' for one in (*codes, *[spare] * 3))
        its = Markup("".join(labels))
        found.append(filled("class_labels.html", station=station, labels=its))
    return document(plan, "labels", found)


def document(plan: ClassPlan, title: str, parts: Iterable[str]) -> str:
    """A whole page of a class."""
    return filled("class.html", title=title, plan=plan, body=Markup("".join(parts)))


@lru_cache(maxsize=512)
def qr(text: str) -> str:
    """The code as a square to scan: the text alone, no address."""
    return segno.make(text, error="m", micro=False).svg_inline(scale=2, border=4)


def question_words(plan: ClassPlan) -> str:
    """What is asked, without what the model predicts."""
    asked = plan.question
    parts = [
        f"{one.label[0].upper()}{one.label[1:]}: {' or '.join(units.in_text(one.words(level), plan.units) for level in its)}"
        for one, its in zip(asked.factors, asked.levels)
    ]
    return f"What does it do to the {asked.response_words} of this batter? {'; '.join(parts)}. A difference of {asked.worth_knowing_points:g} percentage points is worth knowing."


def level_words(plan: ClassPlan, station: int, batter: int) -> str:
    """What is done differently with one batter."""
    treatment = plan.question.treatments[plan.design.level[station, batter]]
    return units.in_text(plan.question.said(treatment), plan.units)


def eaten_words(plan: ClassPlan) -> str:
    return EATEN if plan.eaten else NOT_EATEN


def _recipe_side(plan: ClassPlan, station: int) -> str:
    sheets = weigh_sheets(plan.design, plan.sheets, station)
    cautions = dict.fromkeys(c for sheet in sheets for c in sheet.cautions)
    said = (f"<strong>{escape(who)}</strong> {escape(does)}" for who, does, _ in words_of("role"))
    unit = units.shown_unit("°C", plan.units)
    ends = f"final chopping temperature, {unit}", f"second reading, {unit}"
    names = *ends, "chopped, min", "into the bath, min", "out, min"
    reached = [(u.batter, *[""] * len(names)) for u in plan.design.of(station)]
    return filled(
        "class_batters.html",
        station=station,
        question=question_words(plan),
        roles=Markup("; ".join(said)),
        eaten=eaten_words(plan),
        weighing=_weigh_table(plan, station, sheets),
        strip=_strip(plan, station, list(cautions)),
        measured=table(("batter", *names), reached, named=True),
    )


def _weigh_table(plan: ClassPlan, station: int, sheets: tuple[BatterSheet, ...]) -> Markup:
    split = plan.design.kind == "split"
    made = {s.batter: "" if split else level_words(plan, station, s.batter) for s in sheets}
    heads = (f"batter {n}{words and f'<br>{escape(words)}'}" for n, words in made.items())
    head = "".join(f'<th colspan="3">{one}</th>' for one in heads)
    ticks = '<th class="n">g</th><th>✓</th><th>2nd</th>' * len(sheets)
    first = '<th rowspan="2">weigh in this order; initials of the second reader</th>'
    rows = []
    for name in dict.fromkeys(row.name for sheet in sheets for row in sheet.rows):
        its = (next((one for one in sheet.rows if one.name == name), None) for sheet in sheets)
        rows.append([name, *(cell for row in its for cell in (_grams(row), "", ""))])
    if any(sheet.withheld for sheet in sheets):
        bags = (cell for n in made for cell in (f"bag {station}-{n}", "", ""))
        rows.append(["cure: the teacher's bag, whole", *bags])
    whole = Markup(f"<tr>{first}{head}</tr><tr>{ticks}</tr>")
    return table(whole, rows, ("", *("n", "tick", "tick") * len(sheets)))


def _grams(row: WeighRow | None) -> str:
    if row is None or row.withheld:
        return "–" if row is None else "withheld"
    return f"{row.grams:.{len(f'{row.step_g or 0.1:g}'.partition('.')[2])}f}"


def _strip(plan: ClassPlan, station: int, cautions: list[str]) -> Markup:
    """Clock times of the station, the caution at the step where it bites."""
    extra = {one.caution: one.set_at for one in plan.question.factors if one.caution}
    rows = []
    for step, (todo, caution) in STEPS.items():
        times = "<br>".join(
            f"{row.key[1]}: {row.minutes}"
            for row in sorted(plan.timetable.rows, key=lambda row: (row.session, row.start_min))
            if row.key[0] in (station, 0) and row.key[2] == step
        )
        where = {"weigh": "bowl", "chop": "chopper", "bath": "bath"}.get(step, "")
        more = [c for c in cautions if extra.get(c) == where and where]
        more += [c for c in cautions if c not in extra] if step == "weigh" else []
        words = " ".join([caution, *(c[0].upper() + c[1:].rstrip(".") + "." for c in more)])
        said = f'{escape(todo)} <span class="caution">{escape(words)}</span>'
        rows.append((step, Markup(times), Markup(said)))
    head = "step", "batter: minutes", "what to do; caution"
    return table(head, rows, ("", "n"), named=True)


def _tube_side(plan: ClassPlan, station: int) -> str:
    weights = "empty, g", "filled, g", "after, g"
    head = "", "tube", "fill, g", *weights, "fold", "depth, mm", "loss, %"
    rows = ((Markup(qr(t)), t, f"{g:g}", *[""] * 6) for t, _, _, g in plan.tubes_of(station))
    folds = (
        f"{data_path('pictures', f'fold_{score}.svg').read_text(encoding='utf-8')}<strong>{score}</strong> {words}"
        for score, words, _ in words_of("fold")
    )
    return filled(
        "class_tubes.html",
        station=station,
        plan=plan,
        tubes=table(head, rows, ("", "code", "n", *["box"] * 3)),
        folds=table(Markup(), [[*map(Markup, folds)]]),
        eaten=eaten_words(plan),
        code=station_code(station, plan.class_number),
    )
