"""The panels of 00_start_here: one batch followed from sheet to ledger, and the person's own sheet."""

from dataclasses import replace

from kit import units
from kit.chain import Amounts, Followed, amounts_of, follow, varied
from kit.chain.cook import CAUTIONS as COOK_CAUTIONS
from kit.chain.cook_yield import BASE
from kit.chain.emulsion import holds_of
from kit.chain.mixes import cheapest_of
from kit.cure import cautions as cure_cautions
from kit.cure import editions
from kit.errors import Faulty, KitError, need
from kit.lab.charts import meat_block as mix_charts
from kit.lab.charts import yields as yield_charts
from kit.lab.panels.casing import link_rows
from kit.lab.panels.chop import chop_rows
from kit.lab.panels.cook import cook_rows
from kit.lab.panels.cook.pieces import YIELD, expected_row
from kit.lab.panels.cure.pieces import cure_rows, cure_sentence, error_tables, weigh_table
from kit.lab.panels.emulsion import emulsion_rows
from kit.lab.panels.emulsion.batch import calibration_of, saved_control
from kit.lab.panels.outcome import (
    COLUMNS,
    cautions,
    doubt_tables,
    outcome_sentence,
    outcome_table,
    room_table,
)
from kit.lab.panels.panel import Choice, File, Panel, Row, Slider, Table, View
from kit.lab.panels.sheets import demo_sheet, read_uploaded
from kit.rules import rule_sets
from kit.sheet import Sheet

AS_ON_SHEET = "the sheet's choice, else US"


def batch_panel(sheet: Sheet | None = None) -> Panel:
    """Meat block, ice, binder and salt of one sheet against its rule."""
    sheet = sheet or demo_sheet()
    now = amounts_of(sheet)
    start = follow(sheet)
    controls = (
        Slider(
            "lean_pct_of_meat",
            "Lean meat, % of meat",
            "",
            0,
            100,
            1,
            round(now.lean_pct_of_meat),
            "Meat block",
        ),
        Slider(
            "ice_pct_of_meat", "Ice, % of meat", "", 0, 70, 1, round(now.ice_pct_of_meat), "Ice"
        ),
        Slider(
            "binder_pct_of_batch",
            "Binder, % of batch",
            "",
            0,
            8,
            0.1,
            round(now.binder_pct_of_batch, 1),
            "Binder and salt",
        ),
        Slider(
            "salt_pct_of_batch",
            "Salt, % of batch",
            "",
            0,
            4,
            0.1,
            round(now.salt_pct_of_batch, 1),
            "Binder and salt",
        ),
        Slider(
            "cook_yield_pct",
            "Cook yield, %",
            "",
            80,
            100,
            0.5,
            round(2 * start.cook_yield.pct) / 2,
            "Process",
        ),
        Choice(
            "rule",
            "Composition held against",
            (
                ("the sheet's choice", ""),
                *((str(rules), key) for key, rules in rule_sets().items()),
            ),
            "",
            "What is shown",
        ),
        Choice(
            "cure_rule",
            "Cure held against the limits of",
            (AS_ON_SHEET, *editions()),
            AS_ON_SHEET,
            "What is shown",
        ),
        saved_control(),
    )

    def compute(values) -> Followed:
        amounts = Amounts(
            *(
                values[key]
                for key in (
                    "lean_pct_of_meat",
                    "ice_pct_of_meat",
                    "binder_pct_of_batch",
                    "salt_pct_of_batch",
                )
            )
        )
        law = editions().get(values["cure_rule"])
        return follow(
            varied(sheet, amounts),
            values["cook_yield_pct"],
            rule_sets().get(values["rule"]),
            calibration_of(values["calibration"]),
            **({"cure_rule": law.jurisdiction, "on": law.on} if law else {}),
        )

    presets = {
        "Too much ice": {"ice_pct_of_meat": 62},
        "Fat guessed away": {"lean_pct_of_meat": 4},
        "Binder to the brim": {"binder_pct_of_batch": 4.2},
    }
    return Panel(
        f"{sheet.name}: meat block, ice and binder",
        controls,
        compute,
        batch_view,
        lambda system: {
            "composition": mix_charts.composition_chart(system),
            "limits": mix_charts.limits_chart(system),
        },
        presets,
    )


def batch_view(followed: Followed, values, system) -> View:
    cure = followed.cure
    first = f"{cure_sentence(cure)} " if cure.findings.stop else ""
    tables = (
        *error_tables(cure.findings),
        outcome_table(followed, system),
        *doubt_tables(followed, system),
        *((room_table(followed, system),) if followed.rules else ()),
        *_cheapest(followed, system),
        Table(
            "Cure and salt",
            COLUMNS,
            folded=True,
            later=lambda: (
                Row((cure_sentence(cure), "", "", "", ""), "strong"),
                *cure_rows(cure, system),
            ),
        ),
        replace(weigh_table(cure, system), folded=True),
        Table(
            "Chop and emulsion: end temperature, margins, what may leave",
            COLUMNS,
            folded=True,
            later=lambda: (
                *chop_rows(followed.chop, system),
                *emulsion_rows(followed.holds, system),
                *_before(followed, system),
            ),
        ),
        Table(
            "Links, cook and chill", COLUMNS, folded=True, later=lambda: _cooked(followed, system)
        ),
    )
    return View(
        first + outcome_sentence(followed),
        {
            "composition": mix_charts.composition_data(followed.batter, followed.finished),
            "limits": mix_charts.limits_data(followed.verdicts, followed.fat),
        },
        {
            "composition": mix_charts.composition_text(followed.batter, followed.finished),
            "limits": mix_charts.limits_text(followed.verdicts),
        },
        tables,
        (*followed.notes, *cure.notes),
        (*followed.working, *cure.working),
        (*followed.sources, *cure.sources),
        (
            *cautions(followed.ingredient_names),
            cure_cautions.NITRITE,
            cure_cautions.LAW,
            *(COOK_CAUTIONS if followed.sheet.process.cook else ()),
        ),
    )


def _before(followed: Followed, system: str) -> tuple[Row, ...]:
    """What the emulsion room says without the plant's own calibration, where one was chosen."""
    if followed.calibration is None:
        return ()
    plain = holds_of(followed.sheet, end_C=followed.chop.end_C)
    low, _, high = plain.spread.total_out_g
    return (
        Row(
            (
                "what leaves in the cook, before your calibration",
                f"{units.show(plain.kg(plain.held.total_out_g), 'kg', system, 1)} ({plain.held.total_out_g:.1f} %)",
                "",
                f"10 to 90 %: {low:.1f} to {high:.1f} %",
                f"calibration: {followed.calibration.name}",
            )
        ),
    )


def _cheapest(followed: Followed, system: str) -> tuple[Table, ...]:
    """The cheapest mix of the sheet's own materials at its own prices, where the sheet gives prices and a rule."""
    sheet = followed.sheet
    if followed.rules is None or any(
        line.price_per_kg is None for line in sheet.of_kind("meat", "binder")
    ):
        return ()

    def fill():
        try:
            answer = cheapest_of(sheet, followed.rules, followed.cook_yield.pct)
        except KitError as error:
            return (Row((str(error), "", "", ""), "strong"),)
        now = sum((line.price_per_kg or 0) * line.kg for line in sheet.lines)
        rows = [
            Row(
                (
                    line.name,
                    units.show(line.kg, "kg", system),
                    units.show(float(kg), "kg", system),
                    f"{line.price_per_kg or 0:g}",
                )
            )
            for line, kg in zip(sheet.lines, answer.kg)
        ]
        rows.append(
            Row(
                (
                    "cost of the batch, at the sheet's prices",
                    f"{now:.2f}",
                    f"{answer.cost:.2f}",
                    sheet.currency,
                ),
                "strong",
            )
        )
        rows += [
            Row(
                (
                    f"binds: {h.name}, {h.side} {h.limit:g} {h.unit}",
                    "",
                    f"{h.value:.2f}",
                    f"one unit more saves {h.worth_per_unit:.2f}",
                )
            )
            for h in answer.binding
        ]
        rows += [
            Row(
                (
                    f"must give way: {r.name}, {r.side} {r.limit:g} {r.unit}",
                    "",
                    f"needs {r.needed:.2f}",
                    f"by {r.by:.2f}",
                ),
                "fails",
            )
            for r in answer.relaxed
        ]
        return tuple(rows)

    return (
        Table(
            "Cheapest mix of this sheet's own materials",
            ("what", "now", "cheapest", "price per kg"),
            folded=True,
            later=fill,
        ),
    )


def _cooked(followed: Followed, system: str) -> tuple[Row, ...]:
    """Links, then the cook; the yield to expect beside what was weighed, where it was."""
    rows = link_rows(followed.links, system)
    if not followed.sheet.process.cook:
        return (
            *rows,
            Row(("cook", "no steps planned", "", "", "write [[cook]] steps on the sheet")),
        )
    skin = followed.skin_holds
    hottest = Row(
        (
            f"what may leave at the skin, at its hottest {units.show(skin.batter.core_C, '°C', system)}",
            f"{skin.held.total_out_g:.1f} %",
            f"{followed.holds.held.total_out_g:.1f} % at the core target",
            "",
            "teaching model",
        )
    )
    got = followed.cook_yield
    found = followed.expected_yield
    beside = (
        ()
        if got.weighed_pct is None
        else (
            Row(
                (
                    f"expected {YIELD} less the weighed one",
                    f"{found.pct - got.weighed_pct:+.1f} percentage points".replace("-", "−"),
                    f"weighed {got.weighed_pct:.1f} %",
                    "",
                    "computed",
                )
            ),
        )
    )
    return (*rows, *cook_rows(followed.cook, system), expected_row(found), hottest, *beside)


def ledger_panel(sheet: Sheet | None = None) -> Panel:
    """The weighed batch as a waterfall, with yields on the base the person chooses."""
    followed = follow(sheet or demo_sheet())
    need(
        followed.books is not None,
        "this sheet has fewer than two weighings; weigh at least what came in and what was packed",
    )
    books = followed.books
    bases = tuple(dict.fromkeys(line.base for line in books.yields))
    low, high = yield_charts.waterfall_range(books)
    controls = (
        Choice(
            "base",
            "Yield is reckoned on the weight of",
            bases,
            "meat block" if "meat block" in bases else bases[0],
            "What is shown",
        ),
    )
    return Panel(
        f"{followed.sheet.name}: where the kilos went",
        controls,
        lambda values: books,
        lambda result, values, system: ledger_view(followed, values, system),
        lambda system: {
            "waterfall": yield_charts.waterfall_chart(system, low, high, len(books.rows))
        },
    )


def ledger_view(followed: Followed, values, system) -> View:
    books = followed.books
    chosen = books.yield_on(values["base"])
    biggest = max((line for line in books.stages), key=lambda line: line.loss_kg)
    sentence = (
        f"{chosen.of.capitalize()} weight is {chosen.pct:.1f} % of the {chosen.base} weight. The largest loss is in {biggest.stage}: "
        f"{units.show(biggest.loss_kg, 'kg', system)}; {units.show(books.unexplained_kg, 'kg', system)} is explained by nothing that was weighed."
    )
    stages = Table(
        "Stage by stage",
        ("stage", "went in", "came out", "lost", "yield"),
        tuple(
            Row(
                (
                    line.stage,
                    units.show(line.all_in_kg, "kg", system),
                    units.show(line.out_kg, "kg", system),
                    units.show(line.loss_kg, "kg", system),
                    f"{line.yield_pct:.1f} %",
                ),
                "strong" if line is biggest else "",
            )
            for line in books.stages
        ),
    )
    got = followed.cook_yield
    compared = (
        ()
        if got.difference_pct is None
        else (
            Table(
                f"Cook yield ({BASE}): planned beside weighed",
                ("planned", "weighed", "difference"),
                (
                    Row(
                        (
                            f"{got.planned_pct:.1f} %",
                            f"{got.weighed_pct:.1f} %",
                            f"{got.difference_pct:+.1f} percentage points".replace("-", "−"),
                        )
                    ),
                ),
            ),
        )
    )
    notes = (*books.notes, *(f"Look at this: {fault}" for fault in books.faults))
    return View(
        sentence,
        {"waterfall": yield_charts.waterfall_data(books, system)},
        {"waterfall": yield_charts.waterfall_text(books)},
        (*compared, stages),
        notes,
        books.working,
        books.sources,
    )


def own_sheet_panel() -> Panel:
    """Open a sheet of one's own: what it comes to, or every fault with its place."""

    def compute(values):
        if values["file"] is None:
            return None
        name, content = values["file"]
        try:
            return follow(
                read_uploaded(name, content), calibration=calibration_of(values["calibration"])
            )
        except Faulty as error:
            return error

    return Panel(
        "Your own sheet",
        (File("file", "Choose a sheet (TOML, CSV, XLSX)", ".toml,.csv,.xlsx"), saved_control()),
        compute,
        own_sheet_view,
        lambda system: {
            "composition": mix_charts.composition_chart(system),
            "limits": mix_charts.limits_chart(system),
        },
    )


def own_sheet_view(result, values, system) -> View:
    if result is None:
        return View(
            "Choose a file on the left: a batch sheet in TOML, CSV or XLSX. Nothing leaves this computer."
        )
    if isinstance(result, Faulty):
        rows = tuple(
            Row((fault.where or "the file", fault.what, fault.remedy), "fails")
            for fault in result.faults
        )
        return View(
            f"This sheet cannot be used yet: {len(rows)} thing{'s' if len(rows) > 1 else ''} to mend, listed below. Nothing was changed in the file.",
            {},
            {},
            (Table("What to mend", ("where", "what is wrong", "what to try"), rows),),
        )
    return batch_view(result, values, system)
