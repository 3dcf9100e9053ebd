"""A weigh sheet from a seed: what is wrong with it?"""

from kit import units
from kit.chain.cure import CAUTIONS
from kit.cure import mistakes
from kit.cure.slips import SLIPS
from kit.lab.panels.cure.pieces import trap_tables
from kit.lab.panels.panel import Choice, Panel, Row, Slider, Table, View

SLIP_WORDS = {
    "none": "nothing is wrong with it",
    **{slip.key: slip.name for slip in SLIPS},
    "forgotten": "cure forgotten",
    "unknown_content": "a source whose strength nobody knows",
    "mixed_rules": "limits of two countries mixed",
}


def mistake_panel() -> Panel:
    """A weigh sheet from a seed: what is wrong with it?"""
    answers = (("choose an answer", ""), *((words, key) for key, words in SLIP_WORDS.items()))
    controls = (
        Slider("seed", "Sheet number", "", 0, 99, 1, 7, "The sheet"),
        Choice("answer", "What is wrong?", answers, "", "Your answer"),
        Choice(
            "hint",
            "Hint",
            (("none yet", 0), ("first", 1), ("second", 2), ("third", 3)),
            0,
            "Your answer",
        ),
    )
    return Panel(
        "Find the mistake in this weigh sheet",
        controls,
        lambda values: mistakes.case(int(values["seed"])),
        mistake_view,
        lambda system: {},
    )


def mistake_view(case: mistakes.Case, values, system) -> View:
    rows = tuple(Row((what, _in_system(written, system))) for what, written in case.sheet)
    table = Table(f"Weigh sheet {case.seed}", ("", "as written"), rows)
    hints = tuple(f"Hint {n}: {hint}" for n, hint in enumerate(case.hints[: values["hint"]], 1))
    if values["hint"] > len(case.hints):
        hints += ("There is no further hint for this sheet.",)
    if not values["answer"]:
        return View(
            "Is anything wrong with this sheet? Work out what it wants and what it brings, then answer.",
            {},
            {},
            (table,),
            hints,
            cautions=CAUTIONS,
        )
    reply = case.check(values["answer"])
    says = reply.says
    for key, words in SLIP_WORDS.items():
        says = says.replace(key, words) if "_" in key else says
    if not reply.right:
        return View(f"Not yet. {says}", {}, {}, (table,), hints, cautions=CAUTIONS)
    found = case.findings
    return View(
        f"{says}.",
        {},
        {},
        (table, *trap_tables(found)),
        (*hints, *found.notes),
        found.working,
        found.sources,
        CAUTIONS,
    )


def _in_system(written: str, system: str) -> str:
    """'72 kg' or '180 g' in the system shown; other text as it is."""
    number, _, unit = written.partition(" ")
    if system == units.METRIC or unit not in ("kg", "g"):
        return written
    return units.show(float(number), unit, system, 2 if unit == "kg" else 3)
