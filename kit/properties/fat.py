"""How much of the fat is solid at a temperature, and what heat does its melting take?

The curves are uncertain and contradict each other: rendered lard is given about 28 % solid at 10 °C, pig fat tissue about 80 %.
Both are offered, each with its status; see `CONFLICT`.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit.properties.components import within_range
from kit.tables import cite, read_rows, value

CONFLICT = (
    "Published solid-fat figures contradict each other: at 10 °C rendered lard is given as about 28 % solid, pig fat tissue as "
    "about 80 %. Method and tissue differ; treat the heat of melting fat as an uncertainty, not as a correction."
)


@dataclass(frozen=True)
class SolidFat:
    """Solid share of one fat at a few temperatures; straight lines between, constant outside."""

    fat: str
    t_C: tuple[float, ...]
    solid_pct: tuple[float, ...]
    cite: str
    note: str = ""

    def at(self, t_C):
        """Solid fat, % of the fat, at `t_C` (vectorised)."""
        return np.interp(within_range(t_C), self.t_C, self.solid_pct)

    def melting_kJ_per_kg(self, t_C):
        """Heat already taken up by melting at `t_C`, per kg of fat, against the coldest point of the curve."""
        return value("fat_heat_of_fusion") * (self.solid_pct[0] - self.at(t_C)) / 100


@lru_cache(maxsize=1)
def solid_fats() -> dict[str, SolidFat]:
    """Every curve of data/properties/solid_fat.csv by the name of the fat."""
    rows = read_rows("properties", "solid_fat.csv")
    curves = {}
    for fat in dict.fromkeys(row["fat"] for row in rows):
        mine = [row for row in rows if row["fat"] == fat]
        t, solid = (tuple(float(row[key]) for row in mine) for key in ("t_C", "solid_pct"))
        source = cite(mine[0]["source"], mine[0]["where"], mine[0]["status"])
        curves[fat] = SolidFat(fat, t, solid, source, mine[0]["note"])
    return curves
