"""Where did every kilogram of one batch go, and do the books close?

ledger = [*at("chop", 1000, 1288, additions_kg={"ice": 250, "dry goods": 45}), *at("stuff", 1286, 1272, scrap_kg=10), ...]
books(ledger)                      yields on every base, losses, the unexplained kilograms, the waterfall
weighed = flows_of(ledger, scale_sd_kg=2)
reconcile(weighed.graph, weighed.kg, weighed.sd_kg)     do the books close; if not, what could it be?
money(books(ledger), {"lost": 1.2, "scrap": 2.5})       at the person's own prices
"""

from kit.yields.books import books
from kit.yields.flows import OUTSIDE, Checks, Flow, Graph, Weighed, checks, flows_of, standard_graph
from kit.yields.in_turn import InTurn, Turn, causes_in_turn
from kit.yields.ledger import KINDS, Entry, Point, at, entry_faults, points
from kit.yields.many import ManyBooks, books_many
from kit.yields.mistakes import (
    UnitSlip,
    counted_twice,
    leaked,
    mended,
    misread,
    unit_slips,
    with_side,
)
from kit.yields.money import Money, Worth, carried_prices, money
from kit.yields.plant import batch_flows, usual_loss_pct, weigh
from kit.yields.reconcile import ManyReconciled, Reconciled, reconcile, reconcile_many, sd_of_step
from kit.yields.results import Base, Books, Compared, HandOver, Row, StageLine, Yield
from kit.yields.retention import PartBooks, Printed, part_books, printed_patties, published_patties
from kit.yields.suspects import Cause, Group, ManySuspects, Suspects, suspect_many

__all__ = [name for name in dir() if not name.startswith("_")]
