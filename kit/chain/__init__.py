"""One call follows a whole sheet through the modules: `follow(sheet)`.

follow   the answers of every room for one sheet, weighed values in place of planned ones where there are any
mixes    the few amounts a slider moves: lean share, ice, binder, salt
"""

from kit.chain.follow import Followed, follow

__all__ = ["Followed", "follow"]
