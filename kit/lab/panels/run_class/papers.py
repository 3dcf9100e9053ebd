"""Every paper of the class in one folder, made by one press of a button."""

from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

from kit import units
from kit.classroom.plan import ClassPlan
from kit.classroom.recipe import shopping
from kit.errors import KitError
from kit.faults import need_said
from kit.lab.pages.class_cards import eaten_words
from kit.lab.pages.class_papers import papers, print_class
from kit.lab.panels.controls import controls_of
from kit.lab.panels.panel import Panel, Table, View
from kit.lab.panels.run_class.pieces import (
    PLAN,
    ClassPanel,
    cautions,
    classes_folder,
    plan_from,
)
from kit.reading.class_plan import plan_toml, read_plan

PRINT = "Make the papers"
PAGES = {
    "cards.html": "two sheets for each station; who reads tubes sees no level",
    "teacher.html": "key of levels, clock times, shopping list, cautions",
    "labels.html": "codes for the tubes",
    "exercises.html": "exercises of each station",
    "phone.html": "margins on a phone",
    PLAN: "makes the same papers again",
}
BOOK = "station_{:02d}.xlsx"


@dataclass(frozen=True)
class PapersOfClass:
    """The plan, its folder, and whether the papers of this very plan are there."""

    plan: ClassPlan
    folder: Path
    made: bool


def papers_panel(room: Panel | None = None) -> Panel:
    """The number of the class, and a button that makes the whole folder of papers, or nothing.

    The unit system decides the paper as well: A4 with metric units, Letter with those of the United States.
    """
    plan_now = plan_from(room)
    start = plan_now()
    held: dict[str, Any] = {"class_number": f"{start.class_number}", "cured": start.cured}
    controls = controls_of("class papers", options={"page": tuple(PAGES)[:-1]}, **held)

    def asked(values) -> PapersOfClass:
        number = values["class_number"].strip()
        need_said(number.isdecimal(), "number of no class", number=number[:40])
        plan = replace(
            plan_now(),
            class_number=int(number),
            cured=values["cured"],
            units=values["system"],
            paper="Letter" if values["system"] == units.US else "A4",
        )
        _ = plan.design, plan.sheets  # a plan that cannot be made is told here
        folder = classes_folder() / f"class_{plan.class_number}"
        return PapersOfClass(plan, folder, _is_of(folder, plan))

    return ClassPanel(
        "The papers",
        controls,
        asked,
        lambda found: found,
        papers_view,
        {},
        above=room,
        acts={PRINT: (_print, "Nothing was made")},
    )


def _print(found: PapersOfClass, values) -> None:
    if found.folder.exists() and not _untouched(found.folder):
        raise KitError(f"{found.folder.name} holds filled workbooks or other files, which stay")
    found.folder.parent.mkdir(parents=True, exist_ok=True)
    print_class(found.plan, found.folder, overwrite=True)


def _is_of(folder: Path, plan: ClassPlan) -> bool:
    try:
        return (folder / PLAN).read_bytes() == plan_toml(plan).encode()
    except OSError:
        return False


def _untouched(folder: Path) -> bool:
    """Does the folder hold the papers of its own plan, and nobody wrote into them?"""
    try:
        whole = papers(read_plan(folder / PLAN))
        return all((folder / name).read_bytes() == held for name, held in whole.items())
    except (KitError, OSError):
        return False


def papers_view(found: PapersOfClass, values, system: str) -> View:
    plan, folder = found.plan, found.folder
    files = PAGES | {BOOK.format(s): "workbook to fill in" for s in plan.present}
    place = f"{folder.parent.name}/{folder.name}"
    if found.made:
        sentence = f"{len(files)} files of class {plan.class_number} are in {place}."
    elif folder.exists():
        sentence = f"{place} holds papers of another plan, or other files. Choose another number, or press: {PRINT}; papers that nobody wrote into are replaced."
    else:
        sentence = f"Press: {PRINT}. {len(files)} files will be in {place}, all of them or none."
    state = "made" if found.made else "not made yet"
    bought = shopping(plan.design, plan.sheets, plan.prices, plan.room.bath_C)
    page, said = folder / values["page"], cautions(plan)
    bought_names = "what", "needed", "to buy", "cost (your currency)"
    said_name = "Allergens, cautions and the rule of discard, as printed on the teacher's page"
    return View(
        f"{sentence} {eaten_words(plan)}",
        tables=(
            Table(f"Files, {state}", ("file", "what it holds"), files.items()),
            Table("Shopping list", bought_names, bought.shown(system), folded=True),
            Table(said_name, ("caution",), [(text,) for text in said], folded=True),
        ),
        notes=(
            "The folder appears whole or not at all. The same plan gives the same bytes.",
            "Cure, where there is any, is weighed by the teacher by the weigh list: no page of a student holds its grams.",
        ),
        sources=bought.sources,
        cautions=said,
        page=(f"class_{plan.class_number}_{page.name}", partial(page.read_text, encoding="utf-8"))
        if found.made and page.is_file()
        else None,
    )
