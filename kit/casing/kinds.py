"""How much batter does a metre of this casing hold? By geometry at the stuffed diameter, or by a weighed length; a trade table says how much natural casing to buy."""

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from kit.casing.density import Density, batter_density
from kit.casing.geometry import diameter_of_fill_mm, fill_g_per_m
from kit.errors import OutOfRange, UnknownName, need_between
from kit.tables import cite, number, read_rows
from kit.working import Step, step

GEOMETRY, WEIGHED = "geometry", "weighed"


@dataclass(frozen=True)
class Hank:
    """A trade table's row: the batter that is stuffed into one hank. Shorts, ends, twists and losses are counted, so a metre takes less than its round."""

    metres: float
    low_kg: float
    high_kg: float

    @property
    def middle_kg(self) -> float:
        return (self.low_kg + self.high_kg) / 2

    @property
    def g_per_m(self) -> tuple[float, float]:
        """Batter to a metre bought: least and most, g."""
        return 1000 * self.low_kg / self.metres, 1000 * self.high_kg / self.metres


@dataclass(frozen=True)
class Casing:
    """One casing, stuffed. `low` and `high` are the ends of the source's own range; equal to the middle where it gives none."""

    name: str
    how: str
    """geometry or weighed"""
    g_per_m: float
    g_per_m_low: float
    g_per_m_high: float
    diameter_mm: float
    """of the round that holds `g_per_m` at `density`"""
    density_kg_per_m3: float
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]
    hank: Hank | None = None
    """how natural casing is bought; None for all other"""

    @property
    def kg_per_m(self) -> float:
        return self.g_per_m / 1000


def machine(
    diameter_mm: float, density: Density | None = None, tolerance_mm: float = 0.0, name: str = ""
) -> Casing:
    """Collagen, cellulose, fibrous or plastic casing at its stuffed diameter: π/4 D² ρ. 8 to 250 mm."""
    d = need_between("diameter_mm", diameter_mm, 8, 250, "the stuffed diameter in millimetres")
    tol = need_between(
        "tolerance_mm", tolerance_mm, 0, d / 4, "half the range of the stuffed diameter"
    )
    return _by_geometry(
        name or f"machine casing {d:g} mm", d, d - tol, d + tol, density or batter_density(), (), ()
    )


def collagen(nominal_mm: float, density: Density | None = None) -> Casing:
    """Collagen of a nominal calibre, which fills to that calibre within the trade's tolerance."""
    row = number("casing_collagen_tolerance_mm")
    d = need_between("nominal_mm", nominal_mm, 8, 250, "the calibre in millimetres")
    notes = (
        ()
        if 14 <= d <= 32
        else (f"the tolerance of ± {row.value:g} mm is told for 14 to 32 mm, not for {d:g}",)
    )
    return _by_geometry(
        f"collagen {d:g} mm",
        d,
        d - row.value,
        d + row.value,
        density or batter_density(),
        notes,
        (row.cite(),),
    )


def cellulose(code: int | str, density: Density | None = None) -> Casing:
    """Cellulose by its size code, at the recommended stuffed diameter. UnknownName where the code is not in the table."""
    row = _cellulose().get(str(code).strip())
    if row is None:
        raise UnknownName("cellulose size code", str(code), _cellulose())
    low, high = float(row["stuffed_low_mm"]), float(row["stuffed_high_mm"])
    return _by_geometry(
        f"cellulose code {row['code']}",
        (low + high) / 2,
        low,
        high,
        density or batter_density(),
        ("recommended stuffed diameter; over- or under-stuffing changes it",),
        (cite(row["source"], row["where"], row["status"]),),
    )


def natural(name: str, density: Density | None = None, stuffed_mm: float | None = None) -> Casing:
    """A natural casing: weight by geometry at `stuffed_mm` (the middle of its calibre without one), casing to buy by the trade's table of hanks.

    `name` as 'sheep 22-24'. UnknownName where no table is held: then stuff and weigh a length, and use `weighed`.
    """
    row = _natural().get(_key(name))
    if row is None:
        raise UnknownName(
            "natural casing (stuff and weigh a length instead)",
            name,
            (r["casing"] for r in _natural().values()),
        )
    density = density or batter_density()
    hank = Hank(*(float(row[key]) for key in ("hank_m", "fill_low_kg", "fill_high_kg")))
    low = float(row["calibre_low_mm"])
    high = float(row["calibre_high_mm"] or stuffed_mm or low)
    mm = need_between(
        "stuffed_mm",
        (low + high) / 2 if stuffed_mm is None else stuffed_mm,
        8,
        250,
        "the stuffed diameter in millimetres",
    )
    notes = [
        "the table of hanks is of the trade and undated; its batter density is not stated; weigh a stuffed length of your own casing"
    ]
    if not row["calibre_high_mm"]:
        notes.append(f"{row['casing']} is open at the top: the wider the lot, the more it holds")
    notes += (
        [f"{mm:g} mm lies outside the calibre of {row['casing']}"] if not low <= mm <= high else []
    )
    made = _by_geometry(
        row["casing"],
        mm,
        min(low, mm),
        max(high, mm),
        density,
        notes,
        (cite(row["source"], row["where"], row["status"]),),
    )
    bought = 500 * (hank.low_kg + hank.high_kg) / hank.metres
    share = 100 * bought / made.g_per_m
    steps = (
        step(
            "Batter to a metre bought, middle of the table",
            "b = 1000 × (low + high) / 2 / hank",
            bought,
            "g/m",
            low=(hank.low_kg, "kg", "least into a hank"),
            high=(hank.high_kg, "kg", "most into a hank"),
            hank=(hank.metres, "m", "length of a hank"),
        ),
        step(
            "Share of the full round that a metre bought takes",
            "share = 100 × b / g",
            share,
            "%",
            b=(bought, "g/m"),
            g=(made.g_per_m, "g/m"),
        ),
    )
    return replace(
        made,
        hank=hank,
        notes=(
            *made.notes,
            f"a metre bought takes {share:.0f} % of a full round of {mm:g} mm: calibres are graded wide, and shorts and ends are lost",
        ),
        working=(*made.working, *steps),
    )


def weighed(
    name: str, stuffed_kg: float, length_m: float, density: Density | None = None
) -> Casing:
    """Any casing from one's own trial: what a stuffed length weighed. The best answer for natural casing."""
    density = density or batter_density()
    kg = need_between(
        "stuffed_kg", stuffed_kg, 1e-3, 1e4, "the weight of the stuffed length in kilograms"
    )
    metres = need_between("length_m", length_m, 0.05, 1e5, "the stuffed length in metres")
    fill = 1000 * kg / metres
    d = float(diameter_of_fill_mm(fill, density.kg_per_m3))
    if not 5 <= d <= 300:
        raise OutOfRange(
            f"{kg:g} kg on {metres:g} m is {fill:.0f} g/m, a round of {d:.0f} mm, which is no sausage; check kilograms and metres"
        )
    return Casing(
        name,
        WEIGHED,
        fill,
        fill,
        fill,
        d,
        density.kg_per_m3,
        ("one weighing of one length; weigh several to see the spread",),
        ("the person's own weighing",),
        (step("Batter per metre", "g = 1000 × m / L", fill, "g/m", m=(kg, "kg"), L=(metres, "m")),),
    )


def natural_names() -> tuple[str, ...]:
    return tuple(row["casing"] for row in _natural().values())


def cellulose_codes() -> tuple[str, ...]:
    return tuple(_cellulose())


def _by_geometry(name, d, low, high, density: Density, notes, sources) -> Casing:
    fill, least, most = (float(fill_g_per_m(mm, density.kg_per_m3)) for mm in (d, low, high))
    work = step(
        "Batter per metre of a round",
        "g = 3.141592653589793 / 4 × D ^ 2 × rho / 1000",
        fill,
        "g/m",
        D=(d, "mm", "stuffed diameter"),
        rho=(density.kg_per_m3, "kg/m3"),
    )
    return Casing(
        name,
        GEOMETRY,
        fill,
        least,
        most,
        d,
        density.kg_per_m3,
        (*notes, *density.notes),
        (*sources, *density.sources),
        (*density.working, work),
    )


def _key(name: str) -> str:
    return re.sub(
        r"\s+", " ", name.casefold().replace("–", "-").replace("/", "-").removesuffix("mm")
    ).strip()


@lru_cache(maxsize=1)
def _natural() -> dict[str, dict[str, str]]:
    return {_key(row["casing"]): row for row in read_rows("casing", "natural.csv")}


@lru_cache(maxsize=1)
def _cellulose() -> dict[str, dict[str, str]]:
    return {row["code"]: row for row in read_rows("casing", "cellulose.csv")}
