"""The panels of 08_where_the_kilos_go.

pieces      tables and words that several of them share
ledger      one batch's books beside what was expected, with mistakes to make
closing     do the books close, and which cause explains it
patties     a published table that contradicts itself
worth       what each loss costs at the person's prices
own         the person's own sheet
"""

from kit.lab.panels.books.closing import closing_panel
from kit.lab.panels.books.ledger import ledger_panel
from kit.lab.panels.books.own import own_books_panel
from kit.lab.panels.books.patties import patties_panel
from kit.lab.panels.books.worth import worth_panel

__all__ = ["closing_panel", "ledger_panel", "own_books_panel", "patties_panel", "worth_panel"]
