"""One call follows a whole sheet through the rooms: `follow(sheet)`.

follow   the answers of every room for one sheet, weighed values in place of planned ones where there are any
vary     the few amounts a slider moves: lean share, ice, binder, salt
"""

from kit.chain.follow import CookYield, Followed, follow, ledger_of
from kit.chain.vary import Amounts, amounts_of, varied

__all__ = [
    "Amounts",
    "CookYield",
    "Followed",
    "amounts_of",
    "follow",
    "ledger_of",
    "varied",
]
