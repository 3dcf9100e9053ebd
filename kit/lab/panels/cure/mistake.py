"""A numbered weigh sheet: what is wrong with it?"""

from kit import units
from kit.chain.cure import CAUTIONS
from kit.cure import mistakes
from kit.cure.dosing_errors import DOSING_ERRORS
from kit.lab.panels.controls import controls_of
from kit.lab.panels.cure.pieces import error_tables
from kit.lab.panels.panel import Panel, Table, View

ANSWERS = {
    "none": "no error",
    **{one.key: one.name for one in DOSING_ERRORS},
    "forgotten": "cure forgotten",
    "unknown_content": "nitrite source of unknown strength",
    "mixed_rules": "limits of two countries mixed",
}


def mistake_panel() -> Panel:
    """A numbered weigh sheet: what is wrong with it?"""
    answers = (("choose an answer", ""), *((words, key) for key, words in ANSWERS.items()))
    hints = (("none yet", 0), ("first", 1), ("second", 2), ("third", 3))
    return Panel(
        "Exercise: find the dosing error",
        controls_of("weigh sheet", options={"answer": answers, "hint": hints}),
        lambda values: mistakes.case(int(values["seed"])),
        mistake_view,
    )


def mistake_view(case: mistakes.Case, values, system) -> View:
    lines = [(what, _in_system(written, system)) for what, written in case.sheet]
    sheet = Table(f"Weigh sheet {case.seed}", ("item", "as written"), lines)
    hints = tuple(f"Hint {n}: {hint}" for n, hint in enumerate(case.hints[: values["hint"]], 1))
    if values["hint"] > len(case.hints):
        hints += ("There is no further hint for this sheet.",)
    if not values["answer"]:
        ask = "Is there an error in this sheet? Calculate the target and the actual dose, then answer."
        return View(ask, tables=(sheet,), notes=hints, cautions=CAUTIONS)
    right, says = case.check(values["answer"])
    for key, words in ANSWERS.items():
        says = says.replace(key, words) if "_" in key else says
    if not right:
        return View(f"Not correct. {says}", tables=(sheet,), notes=hints, cautions=CAUTIONS)
    found = case.findings
    return View(
        f"{says}.", tables=(sheet, *error_tables(found)), notes=(*hints,), cautions=CAUTIONS
    ).of(found)


def _in_system(written: str, system: str) -> str:
    """'72 kg' or '180 g' in the system shown; other text as it is."""
    number, _, unit = written.partition(" ")
    if system == units.METRIC or unit not in ("kg", "g"):
        return written
    return units.show(float(number), unit, system, 2 if unit == "kg" else 3)
