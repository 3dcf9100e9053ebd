"""Cold Batter: teaching and analysis for emulsified, cured, cooked sausage.

`import kit` loads nothing heavy: each room is imported when it is first used,
as `kit.meat_block`, `kit.cure` and so on. `kit.follow(sheet)` takes one batch
sheet through the whole batch model.
"""

from importlib import import_module

__version__ = "0.3.0"

_ROOMS = (
    "errors",
    "units",
    "tables",
    "working",
    "files",
    "faults",
    "stages",
    "materials",
    "allergens",
    "properties",
    "logs",
    "sheet",
    "reading",
    "meat_block",
    "rules",
    "cure",
    "chop",
    "emulsion",
    "casing",
    "cook",
    "lethality",
    "yields",
    "batches",
    "diagnosis",
    "chain",
    "plan",
    "lab",
)
__all__ = ["doctor", "follow", "read_sheet"]
_CALLS = {"follow": "chain", "read_sheet": "reading", "doctor": "lab.installation"}


def __getattr__(name):
    if name in _CALLS:
        return getattr(import_module(f"kit.{_CALLS[name]}"), name)
    if name in _ROOMS:
        return import_module(f"kit.{name}")
    near = import_module("kit.errors").nearest(name, (*_ROOMS, *_CALLS))
    offer = f"; nearest: {', '.join(near)}" if near else ""
    raise AttributeError(f"kit has no module or call named {name!r}{offer}")


def __dir__():
    return sorted((*globals(), *_ROOMS, *_CALLS))
