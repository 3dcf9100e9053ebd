"""Why does a batter hold or break? Two stages and four breaks, drawn; the reasons in words with the model's numbers."""

from collections.abc import Mapping
from textwrap import wrap
from typing import NamedTuple

from kit import tables, units
from kit.chain.emulsion import EmulsionAnswer
from kit.diagnosis.catalogue import catalogue
from kit.emulsion.break_map import BreakMap, break_map
from kit.emulsion.model import LIMITS, denatured, melted_share, work_out
from kit.emulsion.spread import LEAST_DRAWS
from kit.lab.charts import section
from kit.lab.charts.emulsion import LIMIT_WORDS, signed
from kit.lab.charts.section import (
    BREAK_PX,
    CAPTION,
    GAP,
    LINE,
    STAGE_PX,
    TALL,
    BatterSection,
    section_of,
)
from kit.lab.panels.current import at_current_batch
from kit.lab.panels.emulsion.batch import BREAKS, batch_answer, batch_controls
from kit.lab.panels.emulsion.words import cautions, limits_in_words, margins_words
from kit.lab.panels.panel import Choice, Panel, Table, View
from kit.lab.panels.view import row

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
        lambda system: {
            "stages": section.stages_chart(system),
            "breaks": section.breaks_chart(system),
        },
    )


def why_view(why: Why, values, system: str) -> View:
    shown = _section(why.answer)
    first = LIMIT_WORDS[shown.first]
    rows = why_rows(why, system)
    text = " ".join(section.section_text(shown, first, heated) for heated in (False, True))
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
    shown_now = {"stages": _stages(shown)}, {"stages": text}, (reasons, disputed)
    if values["batch"] == ALL:
        said = " ".join(f"{name}: {margins_words(one)}" for name, one in why.breaks.items())
        shown_now = {"breaks": _breaks(why)}, {"breaks": breaks_text(why)}, (_at_the_plant(why),)
    return View(
        said, *shown_now, tuple(undrawn), why.answer.working, why.answer.sources, cautions()
    )


def _section(answer: EmulsionAnswer) -> BatterSection:
    return section_of(answer.batter, answer.held, answer.held.parameters)


def _symptom(name: str):
    return catalogue().symptom(SEEN[name][1])


def why_rows(why: Why, system: str) -> Mapping[str, tuple]:
    """Table rows by part of data/words/why.csv, each sentence with this batter's numbers and its source."""
    figures, found = why_numbers(why.answer, system), {}
    figures["film_first"] = f"{why.film_first_pct:.0f} %"
    for one in tables.read_rows("words", "why.csv"):
        cite = tables.cite(one["source"], one["where"], one["status"])
        words = one["sentence"].format_map(figures)
        found.setdefault(one["part"], []).append(row(one["about"], words, cite))
    return {part: tuple(rows) for part, rows in found.items()}


def why_numbers(answer: EmulsionAnswer, system: str) -> dict[str, str]:
    """What the sentences ask for, in words; grams are of 100 g raw batter."""
    held, b, p = answer.held, answer.batter, answer.held.parameters
    finer = work_out(b.but(drop_um=max(b.drop_um / 2, 0.05)), p)

    def celsius(name: str) -> str:
        found = tables.number(f"emulsion_{name}_C")
        ends = dict.fromkeys(units.show(t, "°C", system, 0) for t in (found.low, found.high))
        return " to ".join(ends)

    def percent(share) -> str:
        return f"{100 * float(share):.0f} %"

    return {
        "salt_mol": f"{held.salt_mol_per_kg_water:.2f}",
        "dissolved": f"{held.dissolved_protein_g:.2f} g",
        "area": f"{held.fat_area_m2:.1f} m²",
        "film": f"{held.film_protein_g:.2f} g",
        "film_half": f"{float(finer.film_protein_g):.2f} g",
        "sets": celsius("denature"),
        "gel": percent(denatured(b, p)),
        "melted_end": percent(melted_share(b.but(core_C=max(b.end_C, 0)), p)),
        "melted_core": percent(melted_share(b, p)),
        "end": units.show(b.end_C, "°C", system),
        "temperature": signed(held.temperature_margin),
        "fat_out": f"{held.fat_out_g:.1f} g",
        "shrinks": celsius("collagen_shrinks"),
        "gelatin": celsius("collagen_gelatin"),
        "binding": f"{held.functional_protein_g:.1f} g",
        "fat": f"{b.fat_pct:.1f} g fat",
        "water_out": f"{held.water_out_g:.1f} g",
        "water": signed(held.water_margin),
    }


# the drawings ----------------------------------------------------------------------------------------
def _stages(shown: BatterSection) -> dict[str, list[dict]]:
    parts, y = [], section.LEGEND
    for n, (heated, name) in enumerate(((False, "raw batter"), (True, "heated gel"))):
        x = n * (STAGE_PX + GAP)
        title = {"x": x, "y": y + TALL * STAGE_PX + LINE / 2, "words": name}
        key = section.legend(shown, heated, STAGE_PX, x)
        parts += [section.drawn(shown, heated, STAGE_PX, x, y), key, {"words": [title]}]
    return section.together(*parts)


def _breaks(why: Why) -> dict[str, list[dict]]:
    parts = []
    for n, (name, answer) in enumerate(why.breaks.items()):
        x, symptom = n * (BREAK_PX + GAP), _symptom(name)
        lines = [symptom.name, *wrap(symptom.as_seen, 26)]
        said = [
            {"x": x, "y": CAPTION - LINE * (m + 0.7), "words": words}
            for m, words in enumerate((name, *lines))
        ]
        drawing = section.drawn(_section(answer), True, BREAK_PX, x, CAPTION)
        parts += [drawing, {"words": said[:2], "quiet": said[2:]}]
    return section.together(*parts)


def breaks_text(why: Why) -> str:
    """The four small sections in words."""
    said = []
    for name, answer in why.breaks.items():
        shown, symptom = _section(answer), _symptom(name)
        picture = section.section_text(shown, LIMIT_WORDS[shown.first])
        said.append(f"{name}. {picture} At the plant {symptom.name}: {symptom.as_seen}.")
    return " ".join(said)


def _at_the_plant(why: Why) -> Table:
    """What the catalogue says of the four breaks."""
    known, rows = catalogue(), []
    for name, (cause_key, symptom_key) in SEEN.items():
        cause, symptom = known.cause(cause_key), known.symptom(symptom_key)
        others = (
            f"{known.symptom(s).name} ({one.how_often})"
            for (s, c), one in known.gives.items()
            if c == cause_key
        )
        below = why.breaks[name].held.below_edge
        past = limits_in_words(below) if below else "none"
        seen, sure = f"{symptom.name}: {symptom.as_seen}", symptom.be_sure
        rows.append(row(name, past, seen, sure, ", ".join(others), cause.mend, symptom.cite()))
    names = ("break", "past its limit", "seen", "to be sure", "also seen", "next time", "source")
    return Table("At the plant: signs of the four breaks", names, tuple(rows))
