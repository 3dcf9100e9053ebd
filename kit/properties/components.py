"""What are water, ice, protein, fat, carbohydrate, fibre and ash like at a temperature? (Choi and Okos)

Polynomials a + b t + c t² with t in °C from −40 to 150 °C; the coefficients, each with its source, are rows of
data/properties/choi_okos.csv. Water below 0 °C that has not frozen has a row of its own for cp.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from kit.errors import UnknownName, need_all_between
from kit.tables import cite, read_rows, value

COMPONENTS = ("water", "ice", "protein", "fat", "carbohydrate", "fibre", "ash")
LOWEST_C, HIGHEST_C = -40.0, 150.0


@dataclass(frozen=True)
class Polynomial:
    """a + b t + c t², t in °C."""

    a: float
    b: float
    c: float
    cite: str

    def __call__(self, t_C):
        return self.a + t_C * (self.b + t_C * self.c)

    def integral(self, t_C):
        """From 0 °C to `t_C`."""
        return t_C * (self.a + t_C * (self.b / 2 + t_C * self.c / 3))


@lru_cache(maxsize=1)
def polynomials() -> dict[tuple[str, str], Polynomial]:
    """Every row of data/properties/choi_okos.csv by (property, component)."""
    found = {}
    for row in read_rows("properties", "choi_okos.csv"):
        source = cite(row["source"], row["where"], row["status"])
        a, b, c = (float(row[key]) for key in "abc")
        found[row["property"], row["component"]] = Polynomial(a, b, c, source)
    return found


def within_range(t_C):
    """`t_C` as a float array, if all of it lies where the polynomials hold."""
    remedy = "the component properties hold there; check the unit (°F read as °C?)"
    return need_all_between("temperature in °C", t_C, LOWEST_C, HIGHEST_C, remedy)


def _row(kind: str, component: str) -> Polynomial:
    try:
        return polynomials()[kind, component]
    except KeyError:
        raise UnknownName("food component", component, COMPONENTS) from None


def component_density_kg_per_m3(component: str, t_C):
    return _row("density", component)(within_range(t_C))


def component_conductivity_W_per_mK(component: str, t_C):
    return _row("conductivity", component)(within_range(t_C))


def component_cp_J_per_kgK(component: str, t_C):
    t = within_range(t_C)
    if component != "water":
        return _row("cp", component)(t)
    return np.where(t < 0, _row("cp", "supercooled water")(t), _row("cp", "water")(t))


def component_heat_kJ_per_kg(component: str, t_C):
    """Heat to bring 1 kg of the component from 0 °C to `t_C` without change of state; 0 at 0 °C, for ice too."""
    return heat_inside_kJ_per_kg(component, within_range(t_C))


def heat_inside_kJ_per_kg(component: str, t_C):
    """The same without its check of the range, for one temperature that is asked many times."""
    if component != "water":
        return _row("cp", component).integral(t_C) / 1000
    cold, warm = _row("cp", "supercooled water"), _row("cp", "water")
    return np.where(np.less(t_C, 0), cold.integral(t_C), warm.integral(t_C)) / 1000


def ice_heat_kJ_per_kg(t_C):
    """Enthalpy of ice against liquid water at 0 °C: −333.55 kJ/kg at 0 °C and less below."""
    return component_heat_kJ_per_kg("ice", t_C) - value("ice_latent_heat")


def component_sources() -> tuple[str, ...]:
    """Each source line behind the polynomials, once."""
    return tuple(dict.fromkeys(row.cite for row in polynomials().values()))
