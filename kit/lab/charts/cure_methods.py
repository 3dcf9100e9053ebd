"""One weight of cure, three methods of bringing it into the meat."""

from kit import units
from kit.cure.addition_methods import AdditionMethods
from kit.lab.charts.cure import bar, bars_chart
from kit.lab.charts.style import COLOUR, numbered


def methods_chart(system: str) -> dict:
    """One bar per method, each on its own base, with the US figure for that method."""
    return bars_chart(
        "Three ways to cure",
        "the same cure; a limit stands only on the way it was written for",
        "ppm of what stands under the line",
        230,
        430,
    )


def methods_data(found: AdditionMethods, system: str) -> dict[str, list[dict]]:
    """Rows for `methods_chart`."""
    bars, limits = [], []
    for n, one in enumerate(found.methods):
        place, most = {"place": numbered(n, one.name)}, one.limit.limit
        base = f"per kg of {one.base}, {units.show(one.base_kg, 'kg', system, 1)}"
        bars.append(place | bar(one.ppm, one.ppm > most * 1.001, base))
        mark = {
            "at": most,
            "raised": False,
            "words": f"{one.limit.jurisdiction} {most:.0f}",
            "long": one.limit.in_words,
            "colour": COLOUR["limit"],
        }
        limits.append(place | mark)
    return {"bars": bars, "limits": limits, "floors": []}
