"""What is in the bag: how much nitrite, nitrate and salt does this cure carry?"""

from dataclasses import dataclass
from functools import cache
from typing import Any

from kit.cure.salts import NITRATES, NITRITES, convert
from kit.errors import UnknownName, UnknownStrength, need, need_between, need_known
from kit.faults import need_said
from kit.materials.words import cure_word, which_strength
from kit.tables import read_rows, value


@dataclass(frozen=True)
class Premix:
    """A cure as its label states it. `nitrite_pct` None means: not assayed, so no dose can be calculated from it.

    Percentages are of the premix as weighed, counted as `nitrite_salt` and `nitrate_salt`. What is neither is taken
    as salt (NaCl) unless `salt_pct` says otherwise.
    """

    name: str
    nitrite_pct: float | None
    nitrate_pct: float | None = 0.0
    salt_pct: float | None = None
    nitrite_salt: str = "NaNO2"
    nitrate_salt: str = "NaNO3"
    source: str = "own_limit"
    where: str = ""
    status: str = "read"

    def __post_init__(self):
        for what in ("nitrite_pct", "nitrate_pct", "salt_pct"):
            share = getattr(self, what)
            if share is not None:
                remedy = "write the percentage on the label, 6.25 for 6.25 %"
                need_between(f"{what} of {self.name!r}", share, 0, 100, remedy)
        need_known("nitrite form", self.nitrite_salt, NITRITES)
        need_known("nitrate form", self.nitrate_salt, NITRATES)
        agents = (self.nitrite_pct or 0.0) + (self.nitrate_pct or 0.0)
        if self.salt_pct is None:
            object.__setattr__(self, "salt_pct", max(100.0 - agents, 0.0))
        total = agents + (self.salt_pct or 0.0)
        need_said(total <= 100 + 1e-9, "too much in a premix", one=self, total=total)

    @property
    def assayed(self) -> bool:
        return self.nitrite_pct is not None and self.nitrate_pct is not None

    @property
    def strength_pct(self) -> float:
        """Nitrite of the premix as NaNO2, %. OutOfRange if it was never assayed."""
        need_said(self.assayed, "no assay", one=self)
        return convert(self.nitrite_pct, self.nitrite_salt, "NaNO2")

    @property
    def concentrated(self) -> bool:
        """Is it handled as the pure salt?"""
        return self.assayed and self.strength_pct > value("concentrate_nitrite_pct")


@cache
def premixes() -> dict[str, Premix]:
    """The usual premixes, by name: the rows of data/cure/premixes.csv."""
    found = {}
    for row in read_rows("cure", "premixes.csv"):
        about = {key: row[key] for key in ("name", "nitrite_salt", "source", "where", "status")}
        shares = {key: float(row[key]) for key in ("nitrite_pct", "nitrate_pct")}
        found[row["name"]] = Premix(**dict[str, Any](about, **shares))
    return found


def premix(name: str) -> Premix:
    """A usual premix by name. UnknownStrength for a trade word, else UnknownName with the nearest three: a cure is never guessed."""
    for known, mix in premixes().items():
        if known.casefold() == name.casefold().strip():
            return mix
    need(
        "%" in name or cure_word(name) is None,
        f"{which_strength(name)}. Premixes listed with their strength: {', '.join(premixes())}",
        UnknownStrength,
    )
    raise UnknownName("premix", name, premixes())


def unassayed(name: str) -> Premix:
    """Celery-type powder or juice of a lot that nobody assayed: its nitrite is unknown and stays unknown."""
    return Premix(name, None, None, 0.0, where="no assay of the lot")
