"""Altair, and what it drew. A chart is drawn once in an environment and kept there, so that a kernel seldom loads Altair (half a second, 30 MB)."""

import json
import sys
from collections.abc import Callable
from contextlib import suppress
from functools import cache, wraps
from hashlib import sha256
from importlib import import_module
from importlib.metadata import version
from inspect import signature
from pathlib import Path
from pkgutil import walk_packages
from shutil import rmtree

from kit.errors import KitError
from kit.files import put
from kit.tables import data_path
from kit.units import SYSTEMS

SHELF = Path(sys.prefix, "share", "cold-batter")
"""in the environment that `python3 -m kit` makes, and goes with it; a Python shared with others gets a file of ours only when it is set up for the kit"""
STATES_KEPT = 5
_KEPT: list[Callable] = []


def __getattr__(name: str):
    """`alt.X`, `alt.Scale` and all else of Altair, loaded when a chart is drawn."""
    if name.startswith("__"):
        raise AttributeError(name)
    return getattr(import_module("altair"), name)


def chart(data: str, mark: str, **look):
    """A mark over the data set of this name, which the panel fills: the picture is sent once, then only rows."""
    altair = import_module("altair")
    return getattr(altair.Chart(altair.NamedData(name=data)), f"mark_{mark}")(**look)


@cache
def _state() -> str:
    """What a drawing depends on: every file of the kit and its data, and Altair. What was drawn in older states is cleared away."""
    states = sorted(SHELF.glob("charts-*"), key=lambda one: one.stat().st_mtime_ns)
    for old in states[:-STATES_KEPT]:
        rmtree(old, ignore_errors=True)
    files = [*Path(__file__).parents[2].rglob("*.py"), *data_path().rglob("*.csv")]
    stats = sorted((str(path), (at := path.stat()).st_mtime_ns, at.st_size) for path in files)
    return sha256(repr((version("altair"), stats)).encode()).hexdigest()[:20]


def shelved(path: Path, make: Callable[[], str], keep: bool = sys.prefix != sys.base_prefix) -> str:
    """The text that `make` gives, from `path` where it was kept. Where nothing can be kept, it is made each time."""
    with suppress(OSError, UnicodeDecodeError):
        return path.read_bytes().decode("utf-8")  # read_text would turn line ends
    made = make()
    if keep:
        with suppress(OSError, KitError):
            path.parent.mkdir(parents=True, exist_ok=True)
            put(path, made, overwrite=True)
    return made


def kept(draw: Callable[..., dict]) -> Callable[..., dict]:
    """`draw`, a function of text and numbers that gives a Vega-Lite dict, asked once for each of its arguments."""

    @wraps(draw)
    def drawn(*given) -> dict:
        name = sha256(repr((draw.__module__, draw.__name__, given)).encode()).hexdigest()[:20]
        path = SHELF / f"charts-{_state()}" / f"{name}.json"
        return json.loads(shelved(path, lambda: json.dumps(draw(*given))))

    _KEPT.append(drawn)
    return drawn


def draw_all() -> None:
    """Every chart that needs nothing but the unit system, in both: at set-up, so that no kernel waits for it."""
    for module in walk_packages([str(Path(__file__).parent)], "kit.lab.charts."):
        import_module(module.name)
    for drawn in _KEPT:
        if tuple(signature(drawn).parameters) == ("system",):
            for system in SYSTEMS:
                drawn(system)
