"""How much batter does a metre of this casing hold?

By geometry at the stuffed diameter, or by a weighed length; a trade table says how much natural
casing to buy.
"""

import re
from dataclasses import dataclass, replace
from functools import lru_cache

from kit.casing.density import Density, batter_density
from kit.casing.geometry import diameter_of_fill_mm, fill_g_per_m
from kit.errors import UnknownName, look_up, need_between
from kit.faults import need_said
from kit.tables import cite, number, read_rows, rows_by
from kit.working import Result, notes_of, working_of

STUFFED = "the stuffed diameter in millimetres"


@dataclass(frozen=True)
class Hank:
    """A trade table's row: the batter that is stuffed into one hank, shorts and losses counted."""

    casing: str
    calibre_low_mm: float
    calibre_high_mm: float | None
    """None where the grade is open at the top"""
    metres: float
    low_kg: float
    high_kg: float
    cite: str

    @property
    def middle_kg(self) -> float:
        return (self.low_kg + self.high_kg) / 2

    @property
    def g_per_m(self) -> tuple[float, float]:
        """Batter to a metre bought: least and most, g."""
        return 1000 * self.low_kg / self.metres, 1000 * self.high_kg / self.metres


@dataclass(frozen=True)
class Casing(Result):
    """One casing, stuffed. `low` and `high`: the source's own range, the middle where it gives none."""

    name: str
    g_per_m: float
    g_per_m_low: float
    g_per_m_high: float
    diameter_mm: float
    """of the round that holds `g_per_m` at `density`"""
    density: Density
    hank: Hank | None = None
    """how natural casing is bought; None for all other"""


def machine(diameter_mm: float, density: Density | None = None, name: str = "") -> Casing:
    """Collagen, cellulose, fibrous or plastic casing by geometry: π/4 D² ρ.

    diameter_mm: stuffed, 8 to 250 mm. density: of the batter, usual where not given.
    Raises OutOfRange outside the range.
    """
    d = need_between("diameter_mm", diameter_mm, 8, 250, STUFFED)
    return _by_geometry(name or f"machine casing {d:g} mm", d, d, d, density)


def collagen(nominal_mm: float, density: Density | None = None) -> Casing:
    """Collagen, which fills to its nominal calibre (8 to 250 mm) within the trade's tolerance."""
    row = number("casing_collagen_tolerance_mm")
    d = need_between("nominal_mm", nominal_mm, 8, 250, "the calibre in millimetres")
    return replace(
        _by_geometry(f"collagen {d:g} mm", d, d - row.value, d + row.value, density),
        own_notes=notes_of("collagen", {"untold": not 14 <= d <= 32}, tolerance=row.value, mm=d),
        own_sources=(row.cite(),),
    )


def cellulose(code: int | str, density: Density | None = None) -> Casing:
    """Cellulose by its size code, at the recommended stuffed diameter. UnknownName for another."""
    rows = rows_by("code", "casing", "cellulose.csv")
    row = look_up("cellulose size code", str(code).strip(), rows)
    low, high = float(row["stuffed_low_mm"]), float(row["stuffed_high_mm"])
    return replace(
        _by_geometry(f"cellulose code {row['code']}", (low + high) / 2, low, high, density),
        own_notes=("recommended stuffed diameter; over- or under-stuffing changes it",),
        own_sources=(cite(row["source"], row["where"], row["status"]),),
    )


def natural(name: str, density: Density | None = None, stuffed_mm: float | None = None) -> Casing:
    """Natural casing: weight by geometry, casing to buy by the trade's table of hanks.

    name: as "sheep 22-24". stuffed_mm: 8 to 250 mm, the middle of the calibre without one.
    Raises UnknownName where no table is held: then stuff and weigh a length, and use `weighed`.
    """
    hank = hanks().get(_key(name))
    if hank is None:
        known = (held.casing for held in hanks().values())
        raise UnknownName("natural casing (stuff and weigh a length instead)", name, known)
    low = hank.calibre_low_mm
    high = hank.calibre_high_mm or stuffed_mm or low
    wanted = (low + high) / 2 if stuffed_mm is None else stuffed_mm
    mm = need_between("stuffed_mm", wanted, 8, 250, STUFFED)
    made = _by_geometry(hank.casing, mm, min(low, mm), max(high, mm), density)
    share = 100 * sum(hank.g_per_m) / 2 / made.g_per_m
    holds = {"open": hank.calibre_high_mm is None, "outside": not low <= mm <= high}
    return replace(
        made,
        hank=hank,
        own_notes=notes_of("hank", holds, casing=hank.casing, mm=mm, share=share),
        own_sources=(hank.cite,),
    )


def weighed(
    name: str, stuffed_kg: float, length_m: float, density: Density | None = None
) -> Casing:
    """Any casing from one's own trial: the best answer for natural casing.

    stuffed_kg: weight of the stuffed length, 0.001 to 10,000 kg. length_m: 0.05 to 100,000 m.
    Raises OutOfRange for what would be no sausage.
    """
    density = density or batter_density()
    weight, length = "the weight of the stuffed length in kilograms", "the stuffed length in metres"
    kg = need_between("stuffed_kg", stuffed_kg, 1e-3, 1e4, weight)
    metres = need_between("length_m", length_m, 0.05, 1e5, length)
    fill = 1000 * kg / metres
    d = float(diameter_of_fill_mm(fill, density.kg_per_m3))
    need_said(5 <= d <= 300, "no sausage", kg=kg, metres=metres, fill=fill, d=d)
    return Casing(
        name,
        fill,
        fill,
        fill,
        d,
        density,
        own_notes=("one weighing of one length; weigh several to see the spread",),
        own_sources=("the person's own weighing",),
        own_working=working_of("weighed casing", g=fill, m=kg, L=metres),
    )


def cellulose_codes() -> tuple[str, ...]:
    return tuple(rows_by("code", "casing", "cellulose.csv"))


def _by_geometry(name: str, d: float, low: float, high: float, density: Density | None) -> Casing:
    density = density or batter_density()
    fill, least, most = (float(fill_g_per_m(mm, density.kg_per_m3)) for mm in (d, low, high))
    working = working_of("round casing", g=fill, D=d, rho=density.kg_per_m3)
    return Casing(name, fill, least, most, d, density, own_working=working)


def _key(name: str) -> str:
    plain = name.casefold().replace("–", "-").replace("/", "-").removesuffix("mm")
    return re.sub(r"\s+", " ", plain).strip()


@lru_cache(maxsize=1)
def hanks() -> dict[str, Hank]:
    """Natural casing of the trade's table."""
    return {
        _key(row["casing"]): Hank(
            row["casing"],
            float(row["calibre_low_mm"]),
            float(row["calibre_high_mm"]) if row["calibre_high_mm"] else None,
            float(row["hank_m"]),
            float(row["fill_low_kg"]),
            float(row["fill_high_kg"]),
            cite(row["source"], row["where"], row["status"]),
        )
        for row in read_rows("casing", "natural.csv")
    }
