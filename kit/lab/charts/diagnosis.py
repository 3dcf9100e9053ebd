"""Which causes remain possible, and how far each reading lies from the usual."""

from collections.abc import Iterable
from math import isinf

from kit.diagnosis import Diagnosis, Reading
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, named_list
from kit.lab.charts.style import COLOUR, numbered

FAR = 8.0
"""spreads at which the readings chart ends"""
CAUSES = 9
"""bars shown at most"""


@alt.kept
def standing_chart(system: str) -> dict:
    """A bar per cause, the leading one's weight as the full length; grey bars are set aside for now."""
    title = "score relative to the most likely cause"
    x = across("weight:Q", title, 0, 2, ticks=(0, 0.5, 1), format=".1~f")
    bar = {"x": x, "height": 20, "color": _state({"stands": "cold", "set aside": "unexplained"})}
    return named_list(
        "Possible causes",
        "scores rank the causes; they are not probabilities",
        [("causes", "bar", bar), ("causes", "quiet words", {"x": x, "text": "words:N"})],
        labels=305,
        width=190,
        row=31,
    )


def standing_data(found: Diagnosis) -> dict[str, list[dict]]:
    """Rows for `standing_chart`: the best first, standing causes before those set aside."""
    rows = [
        {
            "place": numbered(n, one.cause.name),
            "name": one.cause.name,
            "weight": min(one.weight, 1.0),
            "state": "stands" if n < len(found.standing) else "set aside",
            "words": one.place,
        }
        for n, one in enumerate((*found.standing, *found.set_aside))
    ]
    return {"causes": rows[:CAUSES]}


@alt.kept
def readings_chart(system: str) -> dict:
    """How far each reading lies from the usual of normal batches, in their own spreads; grey is where it says nothing."""
    title = "standard deviations from a normal batch"
    x = across("at:Q", title, -FAR, FAR, ticks=(-8, -4, 0, 4, 8), clamp=True)
    band = {"x": alt.X("low:Q", scale=x["scale"]), "x2": "high:Q", "height": 20, "colour": "band"}
    shapes = alt.Scale(
        domain=["low", "usual", "high"], range=["triangle-down", "circle", "triangle-up"]
    )
    point = {
        "x": x,
        "size": 190,
        "stroke": COLOUR["ink"],
        "strokeWidth": 2,
        "color": _state({"low": "cold", "usual": "#ffffff", "high": "heat"}),
        "shape": alt.Shape("state:N", scale=shapes, legend=None),
    }
    middle = layer("middle", "limit", x=alt.X("at:Q", scale=x["scale"]), strokeWidth=2)
    return named_list(
        "Readings",
        "grey: as in normal batches; a triangle shows the direction of a deviation",
        [
            ("readings", "bar", band),
            ("readings", "dot", point),
            ("readings", "quiet words", {"x": alt.value("width"), "dx": 12, "text": "words:N"}),
        ],
        labels=400,
        width=300,
        row=32,
        under=[middle],
    )


def readings_data(found: Iterable[tuple[Reading, float, str]]) -> dict[str, list[dict]]:
    """Rows for `readings_chart` from (reading, value, the value in words)."""
    rows = [_placed(n, *one) for n, one in enumerate(found)]
    return {"readings": rows, "middle": [{"at": 0}]}


def spreads_off(reading: Reading, amount: float) -> float:
    """How far `amount` lies from the usual value, in the spread of readings of normal batches."""
    return (amount - reading.usual_value) / reading.spread


def _placed(n: int, reading: Reading, amount: float, words: str) -> dict:
    low, high = (spreads_off(reading, edge) for edge in (reading.low_edge, reading.high_edge))
    return {
        "place": numbered(n, reading.name),
        "name": reading.name,
        "at": spreads_off(reading, amount),
        "low": -FAR if isinf(low) else low,
        "high": FAR if isinf(high) else high,
        "state": ("low", "usual", "high")[int(reading.class_of(amount))],
        "words": words,
    }


def _state(colours: dict[str, str]) -> dict:
    """A colour for each state of a row."""
    found = [COLOUR.get(colour, colour) for colour in colours.values()]
    scale = alt.Scale(domain=list(colours), range=found)
    return alt.Color("state:N", scale=scale, legend=None)
