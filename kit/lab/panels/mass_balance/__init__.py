"""The panels of 08_where_the_kilos_go."""

from kit.lab.panels.mass_balance.ledger import ledger_panel
from kit.lab.panels.mass_balance.own import own_balance_panel
from kit.lab.panels.mass_balance.reconciliation import reconciliation_panel
from kit.lab.panels.mass_balance.worth import worth_panel

__all__ = ["ledger_panel", "own_balance_panel", "reconciliation_panel", "worth_panel"]
