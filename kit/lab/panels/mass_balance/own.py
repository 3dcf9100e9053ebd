"""A sheet of the person's own: its mass balance beside what was expected, and whether it closes."""

from dataclasses import replace

from kit import units
from kit.chain.expected_loss import COOK_WAYS, MODEL
from kit.chain.mass_balance import SheetBalance, mass_balance_of, reconciliation_of
from kit.errors import KitError
from kit.lab.charts import mass_balance as charts
from kit.lab.panels.controls import controls_of
from kit.lab.panels.mass_balance.ledger import ledger_sentence
from kit.lab.panels.mass_balance.pieces import HEAVY, NET_WEIGHT, balance_tables
from kit.lab.panels.mass_balance.reconciliation import reconciliation_view
from kit.lab.panels.panel import Panel, View
from kit.lab.panels.sheets import current_sheet, read_uploaded
from kit.yields.reconcile import Reconciled

CHOOSE = (
    "Choose a batch sheet with a [[weighing]] for each stage "
    "that was weighed. Nothing leaves this computer."
)
ASKED = ("scale_sd_g", "cook_by")
Own = tuple[SheetBalance, Reconciled | str]
"""the balance, and its reconciliation or why there is none"""


def own_balance_panel() -> Panel:
    """A batch sheet with weighings, chosen or the current batch: mass balance, yields, and whether it closes."""

    def compute(values) -> Own | None:
        sheet = read_uploaded(*values["file"]) if values["file"] else current_sheet()
        if sheet is None:
            return None
        found = mass_balance_of(sheet, cook_by=values["cook_by"])
        if found.weighed is None:
            return (
                found,
                "this sheet has fewer than two weighings, so there is no mass balance to close",
            )
        try:
            return found, reconciliation_of(found.entries, sheet, values["scale_sd_g"] / 1000)
        except KitError as error:
            return found, str(error)

    return Panel(
        "Mass balance of your own batch",
        controls_of("own balance", options={"cook_by": COOK_WAYS}, cook_by=MODEL),
        compute,
        own_view,
        {"yields": charts.yields_chart, "balances": charts.balances_chart},
        faulty=("This sheet",),
    )


def own_view(own: Own | None, values, system: str) -> View:
    if own is None:
        return View(
            CHOOSE, cautions=(HEAVY,), idle=dict.fromkeys(ASKED, "no batch sheet is chosen")
        )
    found, checked = own
    balance = found.weighed
    closing = View(f"The mass balance cannot be tested: {checked}.")
    idle = {"scale_sd_g": "the mass balance cannot be tested"}
    if isinstance(checked, Reconciled):
        closing, idle = reconciliation_view(checked, system), {}
    if balance is None:
        end = units.show(found.expected.end.kg, "kg", system)
        plan = f"Expected from the plan, {found.expected.end.label}: {end}."
        sentence = f"{closing.sentence} {plan}"
    else:
        bases = [y.base for y in found.yields]
        named = [base for base in ("meat block", "received") if base in bases]
        first = f"{units.show(balance.end.kg, 'kg', system)} {balance.end.label}."
        if bases:
            first = ledger_sentence(found, (*named, bases[0])[0], system)
        sentence = f"{first} {closing.sentence}"
    return replace(
        closing,
        sentence=sentence,
        data={"yields": charts.yields_data(found, ""), **closing.data},
        tables=(*balance_tables(found, system), *closing.tables),
        cautions=(HEAVY, NET_WEIGHT),
        idle=idle,
    ).of(found)
