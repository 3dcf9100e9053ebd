"""A sheet of the person's own: its books beside what was to be expected, and whether they close."""

from dataclasses import dataclass

from kit import units
from kit.chain.closing import Checked, checks_of
from kit.chain.yields import CHAIN, COOK_WAYS, BooksOf, books_of
from kit.errors import Faulty, KitError
from kit.lab.charts import books as charts
from kit.lab.panels.books.closing import closing_view
from kit.lab.panels.books.ledger import ledger_sentence
from kit.lab.panels.books.pieces import (
    HEAVY,
    NET_WEIGHT,
    base_table,
    look_at,
    rests_table,
    stage_table,
)
from kit.lab.panels.panel import Choice, File, Panel, Row, Slider, Table, View
from kit.lab.panels.sheets import read_uploaded


@dataclass(frozen=True)
class Own:
    found: BooksOf
    checked: Checked | None
    why: str


def own_books_panel() -> Panel:
    """Choose a batch sheet with weighings: books, yields, and do they close."""

    def compute(values):
        if values["file"] is None:
            return None
        try:
            sheet = read_uploaded(*values["file"])
        except Faulty as error:
            return error
        found = books_of(sheet, cook_by=values["cook_by"])
        if found.weighed is None:
            return Own(
                found, None, "this sheet has fewer than two weighings, so there is nothing to close"
            )
        try:
            return Own(
                found,
                checks_of(found.entries, values["scale_sd_g"] / 1000, casing=sheet.process.casing),
                "",
            )
        except KitError as error:
            return Own(found, None, str(error))

    controls = (
        File("file", "Choose a batch sheet (TOML, CSV, XLSX)", ".toml,.csv,.xlsx", "Your files"),
        Slider(
            "scale_sd_g", "Scale's doubt where none is given, 1 sd", "g", 1, 2000, 1, 100, "Process"
        ),
        Choice("cook_by", "The cook is expected by", COOK_WAYS, CHAIN, "What is shown"),
    )
    return Panel(
        "Your own batch: the books",
        controls,
        compute,
        own_view,
        lambda system: {
            "losses": charts.losses_chart(system),
            "yields": charts.yields_chart(system),
            "balances": charts.balances_chart(system),
            "suspects": charts.suspects_chart(system),
        },
    )


def own_view(own, values, system) -> View:
    if own is None:
        return View(
            "Choose a file on the left: a batch sheet that holds a [[weighing]] for each stage that was weighed. Nothing leaves this computer.",
            cautions=(HEAVY,),
        )
    if isinstance(own, Faulty):
        rows = tuple(
            Row((fault.where or "the file", fault.what, fault.remedy), "fails")
            for fault in own.faults
        )
        return View(
            f"This sheet cannot be used yet: {len(rows)} thing{'s' if len(rows) > 1 else ''} to mend, listed below. Nothing was changed in the file.",
            {},
            {},
            (Table("What to mend", ("where", "what is wrong", "what to try"), rows),),
        )
    found, checked = own.found, own.checked
    data, text = (
        {"losses": charts.losses_data(found), "yields": charts.yields_data(found, "")},
        {"losses": charts.losses_text(found), "yields": charts.yields_text(found)},
    )
    tables = (
        *look_at(found, system),
        base_table(found),
        stage_table(found, system),
        rests_table(found),
    )
    if found.weighed is None:
        end = found.expected.end
        said = f"{own.why[:1].upper()}{own.why[1:]}. From the plan alone {units.show(end.kg, 'kg', system)} are to be expected {end.label}."
        return View(
            said, data, text, tables, found.notes, found.working, found.sources, (HEAVY, NET_WEIGHT)
        )
    base = next(
        (name for name in ("meat block", "received") if name in [y.base for y in found.yields]),
        found.yields[0].base if found.yields else "",
    )
    first = (
        ledger_sentence(found, base, system)
        if base
        else f"{units.show(found.weighed.end.kg, 'kg', system)} {found.weighed.end.label}."
    )
    if checked is None:
        return View(
            f"{first} Whether the books close cannot be told: {own.why}.",
            data,
            text,
            tables,
            found.notes,
            found.working,
            found.sources,
            (HEAVY, NET_WEIGHT),
        )
    closing = closing_view(checked, system)
    return View(
        f"{first} {closing.sentence}",
        {**data, **closing.data},
        {**text, **closing.text},
        (*tables, *closing.tables),
        (*found.notes, *closing.notes),
        (*found.working, *closing.steps),
        (*found.sources, *closing.sources),
        (HEAVY, NET_WEIGHT),
    )
