"""Naming a cause from one symptom: how often is that right, and what do minutes of measuring buy?"""

from dataclasses import dataclass

from kit import tables, units
from kit.diagnosis.catalogue import catalogue
from kit.lab.charts import diagnosis as charts
from kit.lab.lessons.diagnosis import PLAYED, FromOne, all_played, from_one, right_after
from kit.lab.panels.diagnosis.words import cautions
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View

BATCH_KG = 100.0
"""weight of each mystery batch"""
NOTE = (
    "The shares of the catalogue are teaching assumptions, and so is the fault's size in the played batches: these numbers show how much one symptom can tell at best in "
    "this kit, not in your plant."
)


@dataclass(frozen=True)
class GuessedFromOne:
    """One symptom's guess, and the played batches: right with no measurement, and after the minutes asked."""

    chosen: FromOne
    every: tuple[FromOne, ...]
    minutes: float
    right_at_once: int
    right_then: int
    of: int


def one_symptom_panel() -> Panel:
    """One symptom's best guess against forty planted batches that are measured for so many minutes."""
    book = catalogue()
    symptoms = tuple((symptom.name, key) for key, symptom in book.symptoms.items())
    controls = (
        Choice("symptom", "The one symptom", symptoms, "fat_cap", "What was seen"),
        Slider("minutes", "Minutes to measure", "", 0, charts.MINUTES, 1, 0, "Measuring"),
    )

    worst = min(book.symptoms, key=lambda key: from_one(key).right_pct)

    def compute(values) -> GuessedFromOne:
        games = all_played()
        return GuessedFromOne(
            from_one(values["symptom"]),
            tuple(from_one(key) for key in book.symptoms),
            values["minutes"],
            right_after(0, games),
            right_after(values["minutes"], games),
            len(games),
        )

    return Panel(
        "Name it from one symptom",
        controls,
        compute,
        tried_view,
        lambda system: {
            "guess": charts.from_one_chart(system),
            "minutes": charts.minutes_chart(system),
        },
        {
            "Guess at once": {"minutes": 0},
            "Ten minutes first": {"minutes": 10},
            "The worst symptom to guess from": {"symptom": worst, "minutes": 0},
        },
    )


def tried_view(tried: GuessedFromOne, values, system) -> View:
    book, chosen, minutes = catalogue(), tried.chosen, tried.minutes
    symptom, causes = book.symptoms[chosen.symptom], book.causes_of(chosen.symptom)
    gives = {cause.name: book.gives[symptom.key, cause.key] for cause in causes}
    after = (
        f"named after {minutes:g} minutes of measuring"
        if minutes
        else "named at once from what was seen"
    )
    sentence = (
        f"From '{symptom.name}' alone the best guess is '{chosen.cause}', right in {chosen.right_pct:.0f} batches of 100: one of {chosen.could_be} causes. "
        f"Of {tried.of} planted batches, {tried.right_then} are rightly {after}; {_spoilt(tried, system)}."
    )
    games = all_played()
    curve = [100 * right_after(m, games) / tried.of for m in range(int(charts.MINUTES) + 1)]
    right_pct = 100 * tried.right_then / tried.of
    rows = []
    for cause in causes:
        row = gives[cause.name]
        cells = (cause.name, row.how_often, cause.commonness, row.cite())
        rows.append(Row(cells, "strong" if cause.name == chosen.cause else ""))
    columns = ("cause", "how often it gives it", "how common it is", "source")
    two = 100 * tables.value("diagnosis_second_symptom_share")
    return View(
        sentence,
        {
            "guess": charts.from_one_data(tried.every, chosen.symptom),
            "minutes": charts.minutes_data(minutes, right_pct, curve),
        },
        tables=(
            Table(
                f"{tried.of} planted batches of {units.show(BATCH_KG, 'kg', system, 0)}",
                ("named", "right", "wrong", "mended for the wrong cause"),
                (
                    _line("at once, from what was seen", tried.right_at_once, tried.of, system),
                    _line(f"after {minutes:g} minutes", tried.right_then, tried.of, system),
                ),
            ),
            Table(f"What may give '{symptom.name}'", columns, tuple(rows)),
        ),
        notes=(
            NOTE,
            "A cause in front is not yet a cause confirmed: before naming it, look for it once more in another way.",
            f"The planted batches are those of the seeds {PLAYED[0]} to {PLAYED[-1]}; {two:.0f} of 100 such batches show two symptoms where the cause gives two, and both are used.",
        ),
        steps=chosen.working,
        sources=(
            *(row.cite() for row in gives.values()),
            tables.number("diagnosis_gives_often").cite(),
        ),
        cautions=cautions(),
    )


def _spoilt(tried: GuessedFromOne, system: str) -> str:
    wrong = tried.of - tried.right_then
    if not wrong:
        return "none would be mended for the wrong cause"
    kg = units.show(wrong * BATCH_KG, "kg", system, 0)
    return f"the other {wrong if wrong > 1 else 'one'} ({kg} of batter) would be mended for the wrong cause"


def _line(words: str, right: int, of: int, system: str) -> Row:
    wrong = of - right
    kg = units.show(wrong * BATCH_KG, "kg", system, 0)
    return Row((words, f"{right} of {of}", f"{wrong}", kg), "fails" if wrong > right else "")
