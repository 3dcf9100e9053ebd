"""How much batter does a metre of this casing hold? Machine casings by geometry, natural ones by the trade's tables, any by a weighed length."""
import re
from dataclasses import dataclass
from functools import lru_cache

from kit.casing.density import Density, batter_density
from kit.casing.geometry import diameter_of_fill_mm, fill_g_per_m
from kit.errors import OutOfRange, UnknownName, need_between
from kit.tables import cite, number, read_rows
from kit.working import Step, step

GEOMETRY, TABLE, WEIGHED = "geometry", "trade table", "weighed"


@dataclass(frozen=True)
class Casing:
    """One casing, stuffed. `low` and `high` are the ends of the source's own range; equal to the middle where it gives none."""

    name: str
    how: str
    """geometry, trade table or weighed"""
    g_per_m: float
    g_per_m_low: float
    g_per_m_high: float
    diameter_mm: float
    """of the round that holds `g_per_m` at `density`; for a natural casing smaller than its calibre"""
    density_kg_per_m3: float
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    @property
    def kg_per_m(self) -> float:
        return self.g_per_m / 1000


def machine(diameter_mm: float, density: Density | None = None, tolerance_mm: float = 0.0, name: str = "") -> Casing:
    """Collagen, cellulose, fibrous or plastic casing at its stuffed diameter: π/4 D² ρ. 8 to 250 mm."""
    d = need_between("diameter_mm", diameter_mm, 8, 250, "the stuffed diameter in millimetres")
    tol = need_between("tolerance_mm", tolerance_mm, 0, d / 4, "half the range of the stuffed diameter")
    return _by_geometry(name or f"machine casing {d:g} mm", d, d - tol, d + tol, density or batter_density(), (), ())


def collagen(nominal_mm: float, density: Density | None = None) -> Casing:
    """Collagen of a nominal calibre, which fills to that calibre within the trade's tolerance."""
    row = number("casing_collagen_tolerance_mm")
    d = need_between("nominal_mm", nominal_mm, 8, 250, "the calibre in millimetres")
    notes = () if 14 <= d <= 32 else (f"the tolerance of ± {row.value:g} mm is told for 14 to 32 mm, not for {d:g}",)
    return _by_geometry(f"collagen {d:g} mm", d, d - row.value, d + row.value, density or batter_density(), notes, (row.cite(),))


def cellulose(code: int | str, density: Density | None = None) -> Casing:
    """Cellulose by its size code, at the recommended stuffed diameter. UnknownName where the code is not in the table."""
    row = _cellulose().get(str(code).strip())
    if row is None:
        raise UnknownName("cellulose size code", str(code), _cellulose())
    low, high = float(row["stuffed_low_mm"]), float(row["stuffed_high_mm"])
    return _by_geometry(f"cellulose code {row['code']}", (low + high) / 2, low, high, density or batter_density(),
                  ("recommended stuffed diameter; over- or under-stuffing changes it",), (cite(row["source"], row["where"], row["status"]),))


def natural(name: str, density: Density | None = None) -> Casing:
    """A natural casing by the trade's table of hank and filling weight. Not by geometry: graded wide, shorts and ends make it hold less.

    `name` as 'sheep 22-24'. UnknownName where no table is held: then stuff and weigh a length, and use `weighed`.
    """
    row = _natural().get(_key(name))
    if row is None:
        raise UnknownName("natural casing (stuff and weigh a length instead)", name, (r["casing"] for r in _natural().values()))
    density = density or batter_density()
    hank, low, high = (float(row[key]) for key in ("hank_m", "fill_low_kg", "fill_high_kg"))
    fill = 500 * (low + high) / hank
    steps = [step("Batter per metre, middle of the table", "g = 1000 × (low + high) / 2 / hank", fill, "g/m",
                  low=(low, "kg", "least a hank holds"),
                  high=(high, "kg", "most a hank holds"), hank=(hank, "m", "length of a hank"))]
    notes = ["the table is of the trade and undated; its batter density is not stated; weigh a stuffed length of your own casing"]
    if row["calibre_high_mm"]:
        middle = (float(row["calibre_low_mm"]) + float(row["calibre_high_mm"])) / 2
        round_fill = float(fill_g_per_m(middle, density.kg_per_m3))
        share = 100 * fill / round_fill
        steps += [step("A full round of the middle calibre", "full = 3.141592653589793 / 4 × D ^ 2 × rho / 1000", round_fill, "g/m",
                       D=(middle, "mm"), rho=(density.kg_per_m3, "kg/m3")),
                  step("What the table holds of that", "share = 100 × g / full", share, "%", g=(fill, "g/m"), full=(round_fill, "g/m"))]
        notes.append(f"the table holds {share:.0f} % of a full round of {middle:g} mm: calibres are graded wide, and shorts and ends are lost")
    else:
        notes.append(f"{row['casing']} is open at the top: the wider the lot, the more it holds")
    return Casing(row["casing"], TABLE, fill, 1000 * low / hank, 1000 * high / hank, float(diameter_of_fill_mm(fill, density.kg_per_m3)),
                  density.kg_per_m3,
                  (*notes, *density.notes), (cite(row["source"], row["where"], row["status"]), *density.sources), (*density.working, *steps))


def weighed(name: str, stuffed_kg: float, length_m: float, density: Density | None = None) -> Casing:
    """Any casing from one's own trial: what a stuffed length weighed. The best answer for natural casing."""
    density = density or batter_density()
    kg = need_between("stuffed_kg", stuffed_kg, 1e-3, 1e4, "the weight of the stuffed length in kilograms")
    metres = need_between("length_m", length_m, 0.05, 1e5, "the stuffed length in metres")
    fill = 1000 * kg / metres
    d = float(diameter_of_fill_mm(fill, density.kg_per_m3))
    if not 5 <= d <= 300:
        raise OutOfRange(f"{kg:g} kg on {metres:g} m is {fill:.0f} g/m, a round of {d:.0f} mm, which is no sausage; check kilograms and metres")
    return Casing(name, WEIGHED, fill, fill, fill, d, density.kg_per_m3, ("one weighing of one length; weigh several to see the spread",),
                  ("the person's own weighing",), (step("Batter per metre", "g = 1000 × m / L", fill, "g/m", m=(kg, "kg"), L=(metres, "m")),))


def natural_names() -> tuple[str, ...]:
    return tuple(row["casing"] for row in _natural().values())


def cellulose_codes() -> tuple[str, ...]:
    return tuple(_cellulose())


def _by_geometry(name, d, low, high, density: Density, notes, sources) -> Casing:
    fill, least, most = (float(fill_g_per_m(mm, density.kg_per_m3)) for mm in (d, low, high))
    work = step("Batter per metre of a round", "g = 3.141592653589793 / 4 × D ^ 2 × rho / 1000", fill, "g/m", D=(d, "mm", "stuffed diameter"),
                rho=(density.kg_per_m3, "kg/m3"))
    return Casing(name, GEOMETRY, fill, least, most, d, density.kg_per_m3, (*notes, *density.notes), (*sources, *density.sources),
                  (*density.working, work))


def _key(name: str) -> str:
    return re.sub(r"\s+", " ", name.casefold().replace("–", "-").replace("/", "-").removesuffix("mm")).strip()


@lru_cache(maxsize=1)
def _natural() -> dict[str, dict[str, str]]:
    return {_key(row["casing"]): row for row in read_rows("casing", "natural.csv")}


@lru_cache(maxsize=1)
def _cellulose() -> dict[str, dict[str, str]]:
    return {row["code"]: row for row in read_rows("casing", "cellulose.csv")}
