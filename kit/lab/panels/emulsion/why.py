"""Why does a batter hold or break? Two stages and four breaks, drawn; the reasons in words with the model's numbers."""

from collections.abc import Mapping
from functools import partial
from typing import NamedTuple

from kit import tables, units
from kit.chain.emulsion import EmulsionAnswer
from kit.diagnosis.catalogue import catalogue
from kit.emulsion.break_map import BreakMap, break_map
from kit.emulsion.model import LIMITS, denatured, melted_share, work_out
from kit.emulsion.spread import LEAST_DRAWS
from kit.lab.charts import section
from kit.lab.charts.emulsion import LIMIT_WORDS, signed
from kit.lab.panels.current import at_current_batch
from kit.lab.panels.emulsion.batch import BREAKS, batch_answer, batch_controls
from kit.lab.panels.emulsion.words import cautions, limits_in_words, margins_words
from kit.lab.panels.panel import Choice, Panel, Table, View, row

AS_IT_STARTS, ALL = "as it starts", "all four breaks"
SEEN = {
    "Chopped too warm": ("hot_chop", "fat_cap"),
    "Too fat": ("fat_over", "greasy_skin"),
    "No salt": ("low_salt", "crumbly"),
    "Too much collagen": ("collagen", "jelly"),
}
"""break -> its cause in the catalogue of diagnosis, and the symptom shown under its section"""
POINTS = 61


class Why(NamedTuple):
    answer: EmulsionAnswer
    breaks: dict[str, EmulsionAnswer]
    map: BreakMap

    @property
    def film_first_pct(self) -> float:
        """Share of the break map on which the film is the first limit."""
        return 100 * float((self.map.weakest == LIMITS.index("coverage")).mean())


def why_panel() -> Panel:
    """Raw batter and heated gel of one batch, the four breaks beside each other, and why."""
    start = {spec.key: spec.value for spec in at_current_batch(batch_controls())}

    def compute(values) -> Why:
        now = {name: batch_answer(start | move, draws=LEAST_DRAWS) for name, move in BREAKS.items()}
        answer = now.get(values["batch"]) or batch_answer(start, draws=LEAST_DRAWS)
        return Why(answer, now, break_map(answer.batter, points=POINTS))

    return Panel(
        "Why it holds or breaks",
        (Choice("batch", "Batch", (AS_IT_STARTS, *BREAKS, ALL), AS_IT_STARTS),),
        compute,
        why_view,
        _charts(),
    )


STAGES = {"raw batter": False, "heated gel": True}
"""stage -> is it heated?"""


def _charts() -> dict:
    """A section for each stage, and one for each break with what would be seen at the plant."""
    raw, gel = STAGES
    schematic = {raw: section.SCHEMATIC, gel: "schematic, not to scale"}
    signs = {name: _symptom(name) for name in BREAKS}
    seen = {name: f"schematic; at the plant {s.name}: {s.as_seen}" for name, s in signs.items()}
    return {
        name: partial(section.titled, name[:1].upper() + name[1:], below)
        for name, below in (schematic | seen).items()
    }


def why_view(why: Why, values, system: str) -> View:
    rows = why_rows(why, system)
    undrawn = (
        f"For {name.lower()} the catalogue of diagnosis names {_symptom(name).name}; the model draws no jelly pocket there, its water margin is "
        f"{signed(answer.held.water_margin)}."
        for name, answer in why.breaks.items()
        if _symptom(name).key == "jelly" and not _section(answer).jelly_area
    )
    reasons = Table(
        "Why: eight sentences with the numbers of this batch",
        ("what", "why", "source"),
        rows["why"],
    )
    disputed = Table("What is disputed", ("what", "", "source"), rows["dispute"], folded=True)
    said = f"Batch {values['batch']}: {margins_words(why.answer)}"
    drawn = {name: (why.answer, heated) for name, heated in STAGES.items()}
    shown: tuple[Table, ...] = (reasons, disputed)
    if values["batch"] == ALL:
        said = " ".join(f"{name}: {margins_words(one)}" for name, one in why.breaks.items())
        drawn = {name: (one, True) for name, one in why.breaks.items()}
        shown = (_at_the_plant(why),)
    sections = {name: (_section(answer), heated) for name, (answer, heated) in drawn.items()}
    return View(
        said,
        {name: section.section_data(*one) for name, one in sections.items()},
        {name: _text(name, *one) for name, one in sections.items()},
        shown,
        tuple(undrawn),
        why.answer.working,
        why.answer.sources,
        cautions(),
    )


def _section(answer: EmulsionAnswer) -> section.BatterSection:
    return section.section_of(answer.batter, answer.held, answer.held.parameters)


def _text(name: str, shown: section.BatterSection, heated: bool) -> str:
    """One section in words; of a break, with what would be seen at the plant."""
    text = section.section_text(shown, LIMIT_WORDS[shown.first], heated)
    if name in STAGES:
        return text
    symptom = _symptom(name)
    return f"{name}. {text} At the plant {symptom.name}: {symptom.as_seen}."


def _symptom(name: str):
    return catalogue().symptoms[SEEN[name][1]]


def why_rows(why: Why, system: str) -> Mapping[str, tuple]:
    """Table rows by part of data/words/why.csv, each sentence with this batter's numbers and its source."""
    figures, found = why_numbers(why.answer, system), {}
    figures["film_first"] = why.film_first_pct
    for one in tables.read_rows("words", "why.csv"):
        cite = tables.cite(one["source"], one["where"], one["status"])
        words = one["sentence"].format_map(figures)
        found.setdefault(one["part"], []).append(row(one["about"], words, cite))
    return {part: tuple(rows) for part, rows in found.items()}


def why_numbers(answer: EmulsionAnswer, system: str) -> dict[str, object]:
    """What the sentences ask for; grams are of 100 g raw batter."""
    held, b, p = answer.held, answer.batter, answer.held.parameters

    def celsius(name: str) -> str:
        found = tables.number(f"emulsion_{name}_C")
        ends = dict.fromkeys(units.show(t, "°C", system, 0) for t in (found.low, found.high))
        return " to ".join(ends)

    return {
        "held": held,
        "finer": work_out(b.but(drop_um=max(b.drop_um / 2, 0.05)), p),
        "sets": celsius("denature"),
        "gel": 100 * denatured(b, p),
        "melted_end": 100 * melted_share(b.but(core_C=max(b.end_C, 0)), p),
        "melted_core": 100 * melted_share(b, p),
        "end": units.show(b.end_C, "°C", system),
        "temperature": signed(held.temperature_margin),
        "shrinks": celsius("collagen_shrinks"),
        "gelatin": celsius("collagen_gelatin"),
        "water": signed(held.water_margin),
    }


def _at_the_plant(why: Why) -> Table:
    """What the catalogue says of the four breaks."""
    known, rows = catalogue(), []
    for name, (cause_key, symptom_key) in SEEN.items():
        cause, symptom = known.causes[cause_key], known.symptoms[symptom_key]
        others = (
            f"{known.symptoms[s].name} ({one.how_often})"
            for (s, c), one in known.gives.items()
            if c == cause_key
        )
        below = why.breaks[name].held.below_edge
        past = limits_in_words(below) if below else "none"
        seen, sure = f"{symptom.name}: {symptom.as_seen}", symptom.be_sure
        rows.append(row(name, past, seen, sure, ", ".join(others), cause.mend, symptom.cite()))
    names = ("break", "past its limit", "seen", "to be sure", "also seen", "next time", "source")
    return Table("At the plant: signs of the four breaks", names, tuple(rows))
