"""Naming a cause from one symptom: how often is that right, and what do minutes of measuring buy?"""

from dataclasses import dataclass

from kit import tables, units
from kit.diagnosis import catalogue
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
    controls = (
        Choice(
            "symptom",
            "The one symptom",
            tuple((s.name, key) for key, s in book.symptoms.items()),
            "fat_cap",
            "What was seen",
        ),
        Slider("minutes", "Minutes to measure", "", 0, charts.MINUTES, 1, 0, "Measuring"),
    )

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
            "The worst symptom to guess from": {"symptom": _worst(), "minutes": 0},
        },
    )


def _worst() -> str:
    return min(catalogue().symptoms, key=lambda key: from_one(key).right_pct)


def tried_view(tried: GuessedFromOne, values, system) -> View:
    book = catalogue()
    symptom, pct = book.symptoms[tried.chosen.symptom], 100 * tried.right_then / tried.of
    wrong = tried.of - tried.right_then
    kg = units.show(wrong * BATCH_KG, "kg", system, 0)
    after = (
        "named at once from what was seen"
        if tried.minutes == 0
        else f"named after {tried.minutes:g} minutes of measuring"
    )
    sentence = (
        f"From '{symptom.name}' alone the best guess is '{tried.chosen.cause}', right in {tried.chosen.right_pct:.0f} batches of 100: one of {tried.chosen.could_be} causes. "
        f"Of {tried.of} planted batches, {tried.right_then} are rightly {after}; {_spoilt(wrong, kg)}."
    )
    games = all_played()
    curve = [100 * right_after(m, games) / tried.of for m in range(int(charts.MINUTES) + 1)]
    causes = Table(
        f"What may give '{symptom.name}'",
        ("cause", "how often it gives it", "how common it is", "source"),
        tuple(
            Row(
                (
                    cause.name,
                    book.gives[symptom.key, cause.key].how_often,
                    cause.commonness,
                    book.gives[symptom.key, cause.key].cite(),
                ),
                "strong" if cause.name == tried.chosen.cause else "",
            )
            for cause in book.causes_of(symptom.key)
        ),
    )
    counted = Table(
        f"{tried.of} planted batches of {units.show(BATCH_KG, 'kg', system, 0)}",
        ("named", "right", "wrong", "mended for the wrong cause"),
        (
            _line("at once, from what was seen", tried.right_at_once, tried.of, system),
            _line(f"after {tried.minutes:g} minutes", tried.right_then, tried.of, system),
        ),
    )
    return View(
        sentence,
        {
            "guess": charts.from_one_data(tried.every, tried.chosen.symptom),
            "minutes": charts.minutes_data(tried.minutes, pct, curve),
        },
        {},
        (counted, causes),
        (
            NOTE,
            "A cause in front is not yet a cause confirmed: before naming it, look for it once more in another way.",
            f"The planted batches are those of the seeds {PLAYED[0]} to {PLAYED[-1]}; {100 * tables.value('diagnosis_second_symptom_share'):.0f} of 100 such batches show two symptoms where the cause gives two, and both are used.",
        ),
        tried.chosen.working,
        tuple(
            dict.fromkeys(
                (
                    *(book.gives[symptom.key, c.key].cite() for c in book.causes_of(symptom.key)),
                    tables.number("diagnosis_gives_often").cite(),
                )
            )
        ),
        cautions(),
    )


def _spoilt(wrong: int, kg: str) -> str:
    if not wrong:
        return "none would be mended for the wrong cause"
    return f"the other {wrong if wrong > 1 else 'one'} ({kg} of batter) would be mended for the wrong cause"


def _line(words: str, right: int, of: int, system: str) -> Row:
    wrong = of - right
    return Row(
        (words, f"{right} of {of}", f"{wrong}", units.show(wrong * BATCH_KG, "kg", system, 0)),
        "fails" if wrong > right else "",
    )
