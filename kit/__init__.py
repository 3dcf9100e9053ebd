"""Cold Batter: teaching and analysis for emulsified, cured, cooked sausage.

`import kit` loads nothing heavy: each room is imported when it is first used,
as `kit.meat_block`, `kit.cure` and so on. `kit.follow(sheet)` takes one batch
sheet through the whole batch model.
"""

from importlib import import_module
from pkgutil import iter_modules

__version__ = "0.4.0"

__all__ = ["doctor", "follow", "read_sheet"]
_CALLS = {"follow": "chain", "read_sheet": "reading", "doctor": "lab.installation"}


def __getattr__(name):
    if name in _CALLS:
        return getattr(import_module(f"kit.{_CALLS[name]}"), name)
    known = __dir__()
    if name in known:
        return import_module(f"kit.{name}")
    near = ", ".join(import_module("kit.errors").nearest(name, known))
    raise AttributeError(f"kit has no module or call named {name!r}; nearest: {near}")


def __dir__():
    modules = (one.name for one in iter_modules(__path__) if not one.name.startswith("_"))
    return sorted((*modules, *_CALLS))
