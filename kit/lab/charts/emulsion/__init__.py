"""Charts of lesson 04: margins and what leaves, the film on the drops, the break map, remedies, and the model beside what was measured."""

from kit.lab.charts.emulsion.beside import (
    beside_chart,
    beside_data,
    remedies_chart,
    remedies_data,
    remedies_text,
)
from kit.lab.charts.emulsion.break_map import SHOWN, map_chart, map_data, map_text
from kit.lab.charts.emulsion.film import (
    drops_chart,
    drops_data,
    drops_text,
    film_chart,
    film_data,
    film_text,
)
from kit.lab.charts.emulsion.margins import (
    LIMIT_WORDS,
    leaves_chart,
    leaves_data,
    leaves_text,
    margins_chart,
    margins_data,
    margins_text,
    signed,
)

__all__ = [
    "LIMIT_WORDS",
    "SHOWN",
    "beside_chart",
    "beside_data",
    "drops_chart",
    "drops_data",
    "drops_text",
    "film_chart",
    "film_data",
    "film_text",
    "leaves_chart",
    "leaves_data",
    "leaves_text",
    "map_chart",
    "map_data",
    "map_text",
    "margins_chart",
    "margins_data",
    "margins_text",
    "remedies_chart",
    "remedies_data",
    "remedies_text",
    "signed",
]
