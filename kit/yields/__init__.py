"""Where did every kilogram of one batch go, and does the mass balance close?

ledger = [*at("chop", 1000, 1288, additions_kg={"ice": 250, "dry goods": 45}),
          *at("stuff", 1286, 1272, scrap_kg=10), ...]
mass_balance(ledger)              yields on every base, losses, unrecorded kilograms, the waterfall
weighed = flows_of(ledger, scale_sd_kg=2)
reconcile(weighed.graph, weighed.kg, weighed.sd_kg)      does it close; if not, what could it be?
worth(mass_balance(ledger), {"lost": 1.2, "scrap": 2.5})       at the person's own prices
"""

from kit.yields.flows import Graph, flows_of
from kit.yields.ledger import WeightEntry
from kit.yields.mass_balance import MassBalance, mass_balance
from kit.yields.reconcile import reconcile
from kit.yields.worth import worth

__all__ = ["Graph", "MassBalance", "WeightEntry", "flows_of", "mass_balance", "reconcile", "worth"]
