"""Is this installation well, and if not, what should the person do?"""

import sys
from dataclasses import dataclass
from importlib import metadata
from pathlib import Path

from kit.tables import data_path

_PINS = Path(__file__).resolve().parents[2] / "binder" / "requirements.txt"
_NEEDED = (
    "numpy",
    "pandas",
    "scipy",
    "pint",
    "altair",
    "vl-convert-python",
    "anywidget",
    "ipywidgets",
    "jupyterlab-widgets",
    "openpyxl",
    "pyarrow",
    "statsmodels",
)
_AGAIN = "close JupyterLab and run `python3 -m kit open` again"


@dataclass(frozen=True)
class Check:
    well: bool
    what: str
    remedy: str = ""
    """what to do where it is not well"""

    def __str__(self):
        return f"ok  {self.what}" if self.well else f"NO  {self.what} — {self.remedy}"


@dataclass(frozen=True)
class Installation:
    """`well` is False if anything is wrong enough to stop a lesson."""

    checks: tuple[Check, ...]

    @property
    def well(self) -> bool:
        return all(check.well for check in self.checks)

    def __str__(self):
        wrong = [str(check) for check in self.checks if not check.well]
        if not wrong:
            return f"The kit is well: {len(self.checks)} checks, nothing wrong."
        return "\n".join(
            [f"{len(wrong)} of {len(self.checks)} checks found something wrong:", *wrong]
        )

    def details(self) -> str:
        return "\n".join(str(check) for check in self.checks)


def doctor() -> Installation:
    """Is this installation whole?

    Checks Python, packages against the pins, the slider parts of the front end, the data files and one computation.
    Returns Installation: what is well and what is not, with a remedy.
    Source: binder/requirements.txt.
    """
    return Installation(
        (_python(), *(_package(name) for name in _NEEDED), *_front_end(), _data(), _computes())
    )


def _python() -> Check:
    remedy = "install Python 3.11 or newer and run `python3 -m kit open` with it"
    return Check(sys.version_info >= (3, 11), f"Python {sys.version.split()[0]}", remedy)


def _pinned() -> dict[str, str]:
    if not _PINS.exists():
        return {}
    lines = (
        line.split("==") for line in _PINS.read_text(encoding="utf-8").splitlines() if "==" in line
    )
    return {name.strip().casefold().replace("_", "-"): version.strip() for name, version in lines}


def _package(name: str) -> Check:
    try:
        have = metadata.version(name)
    except metadata.PackageNotFoundError:
        return Check(False, f"{name} is not installed", _AGAIN)
    want = _pinned().get(name)
    if want and want != have:
        # A newer patch is not wrong in itself; a front end and kernel of different versions are what breaks sliders.
        serious = (
            name in ("ipywidgets", "jupyterlab-widgets", "anywidget")
            and want.split(".")[:2] != have.split(".")[:2]
        )
        return Check(not serious, f"{name} {have} (tested with {want})", _AGAIN)
    return Check(True, f"{name} {have}")


def _front_end() -> list[Check]:
    roots, checks = (sys.prefix, sys.base_prefix, "/usr/local", Path.home() / ".local"), []
    for name in ("@jupyter-widgets/jupyterlab-manager", "anywidget"):
        there = any(Path(root, "share/jupyter/labextensions", name).is_dir() for root in roots)
        said = f"slider part {name} {'found' if there else 'not found'}"
        remedy = f"sliders would show as text; {_AGAIN}, and reload the page"
        checks.append(Check(there, said, remedy))
    return checks


def _data() -> Check:
    wanted = ("materials.csv", "reference/sources.csv")
    missing = [name for name in wanted if not data_path(*name.split("/")).is_file()]
    said = f"missing: {', '.join(missing)}" if missing else "present"
    return Check(not missing, f"data files {said}", "fetch the whole repository again")


def _computes() -> Check:
    """Follow the demo batch: the chain's own answer must close its mass balance."""
    try:
        from kit.chain import follow
        from kit.reading import read_sheet

        followed = follow(read_sheet(data_path("demo", "demo_frankfurter.toml")))
        parts = followed.batter
        named = ("water", "protein", "fat", "ash", "carbohydrate", "unaccounted")
        gap = abs(sum(getattr(parts, f"{part}_kg") for part in named) - parts.total_kg)
        remedy = "please report this with the output of kit.doctor().details()"
        return Check(gap < 1e-6, f"the demo batch closes within {gap:.0e} kg", remedy)
    except Exception as error:
        return Check(
            False,
            f"the demo batch could not be followed: {error}",
            "fetch the whole repository again; if that does not help, please report it",
        )
