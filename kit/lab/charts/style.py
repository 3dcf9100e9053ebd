"""One colour per thing, one type size per role. Legible in grey and at three metres.

The lightness of the colours rises from protein (27) over salt, loss, water and carbohydrate to fat (81), so that
neighbours differ in a grey print as well; marks are labelled directly, so no meaning hangs on colour alone.
"""

from kit.lab.charts import alt

COLOUR = {
    "protein": "#7f1d2e",
    "salt": "#5b6470",
    "loss": "#c8551b",
    "water": "#4a8fc4",
    "carbohydrate": "#b3a0d2",
    "fat": "#f4c542",
    "added water": "#a9d0ee",
    "cure": "#c2487b",
    "gain": "#6a8f3c",
    "unexplained": "#9a9a9a",
    "heat": "#b8432f",
    "cold": "#2b5f8a",
    "limit": "#16181d",
    "point": "#16181d",
    "band": "#c9ccd3",
    "ink": "#16181d",
    "quiet": "#565d69",
    "grid": "#e4e6eb",
    "meets": "#2c6e3f",
    "fails": "#a3201d",
}
FONT = "'Segoe UI', 'Helvetica Neue', Arial, 'Liberation Sans', 'DejaVu Sans', sans-serif"
LABEL, TITLE, HEAD = 15, 16, 18
WIDTH, HEIGHT = 380, 300
LIMIT_DASH = (7, 4)
NARROW = "(width > 0 && width < 300)"
"""of a chart in the page, as the chart library says it; among several in one stored picture the width is 0"""

CONFIG = {
    "font": FONT,
    "background": "white",
    "padding": {"left": 6, "right": 14, "top": 6, "bottom": 6},
    "view": {"stroke": None, "continuousWidth": WIDTH, "continuousHeight": HEIGHT},
    "axis": {
        "labelFontSize": LABEL,
        "titleFontSize": TITLE,
        "titleFontWeight": 600,
        "labelColor": COLOUR["ink"],
        "titleColor": COLOUR["ink"],
        "gridColor": COLOUR["grid"],
        "domainColor": COLOUR["quiet"],
        "tickColor": COLOUR["quiet"],
        "titlePadding": 10,
        "labelPadding": 5,
        "labelSeparation": 5,
    },
    "legend": {
        "labelFontSize": LABEL,
        "titleFontSize": TITLE,
        "labelLimit": 320,
        "symbolSize": 160,
        "orient": "top",
        "titleFontWeight": 600,
    },
    "title": {
        "fontSize": HEAD,
        "fontWeight": 600,
        "anchor": "start",
        "color": COLOUR["ink"],
        "subtitleFontSize": LABEL,
        "subtitleColor": COLOUR["quiet"],
        "offset": 12,
    },
    "text": {"fontSize": LABEL, "color": COLOUR["ink"]},
    "header": {"labelFontSize": LABEL, "titleFontSize": TITLE},
    "line": {"strokeWidth": 3},
    "point": {"size": 110, "filled": True},
    "rule": {"strokeWidth": 2},
    "bar": {"cornerRadius": 2},
}


def numbered(n: int, name: str) -> str:
    """A name that carries its place in a list: "03|lost in trim". The axis of `names_down` shows only the name.

    An axis left in data order keeps the order in which names were first seen, so that bars swap places under a slider.
    """
    return f"{n:03d}|{name}"


def names_down(field: str, limit: int, **more):
    """The vertical axis of a list of names made by `numbered`, first on top."""
    axis = {
        "labelLimit": limit,
        "ticks": False,
        "domain": False,
        "labelExpr": "split(datum.label, '|')[1]",
        **more,
    }
    return alt.Y(f"{field}:N", title=None, sort="ascending", axis=alt.Axis(**axis))


def colours(*things: str):
    """The fixed colours of these things, in this order."""
    return alt.Scale(domain=list(things), range=[COLOUR[thing] for thing in things])


def finished(chart, title: str, subtitle: str = "") -> dict:
    """The chart as a Vega-Lite dict in the style of the kit."""
    head = alt.TitleParams(title, **({"subtitle": subtitle} if subtitle else {}))
    return _ends_marked(chart.properties(title=head).configure(**CONFIG).to_dict())


def beyond(value: float, high: float, low: float = float("-inf")) -> str:
    """What follows the figure of a mark that is drawn at the end of its axis though it lies beyond: an arrow."""
    return " →" if value > high else " ←" if value < low else ""


def _ends_marked(spec: dict) -> dict:
    """A mark whose value lies beyond a clamped axis ends at that axis: an arrowhead there says that it goes on."""
    layers = spec.get("layer", [spec] if "mark" in spec else [])
    heads = [head for layer in layers if "mark" in layer for head in _arrowheads(layer)]
    if heads and "layer" not in spec:
        parts = ("data", "transform", "mark", "encoding")
        spec["layer"] = [{part: spec.pop(part) for part in parts if part in spec}]
    if heads:
        spec["layer"] = [*spec["layer"], *heads]
    return spec


_ENDED = ("bar", "rule", "point", "circle", "square", "tick")
"""marks that end at a clamped axis"""
_HEAD = {
    "type": "point",
    "size": 130,
    "filled": True,
    "color": "white",
    "stroke": COLOUR["ink"],
    "strokeWidth": 1.5,
    "opacity": 1,
    "aria": False,
}


def _arrowheads(layer: dict):
    encoding, mark = layer.get("encoding", {}), layer["mark"]
    if (mark if isinstance(mark, str) else mark["type"]) not in _ENDED:
        return
    for channel, other, turns, inward in (
        ("x", "y", ("triangle-left", "triangle-right"), 9),
        ("y", "x", ("triangle-down", "triangle-up"), -9),
    ):
        scale = encoding.get(channel, {}).get("scale", {})
        if not scale.get("clamp") or "field" not in encoding.get(other, {}):
            continue
        named = (encoding.get(name, {}).get("field") for name in (channel, f"{channel}2"))
        fields = [f"datum['{field}']" for field in named if field]
        known = " && ".join(f"isValid({field})" for field in fields)
        axis = {k: v for k, v in encoding[channel].items() if k not in ("field", "stack", "sort")}
        (low, high), values = scale["domain"], ", ".join(fields)
        for end, shape, test, offset in (
            (low, turns[0], f"min({values}) < {low}", inward),
            (high, turns[1], f"max({values}) > {high}", -inward),
        ):
            yield {
                **({"data": layer["data"]} if "data" in layer else {}),
                "transform": [*layer.get("transform", []), {"filter": f"{known} && {test}"}],
                "mark": _HEAD | {"shape": shape, f"{channel}Offset": offset},
                "encoding": {other: encoding[other], channel: axis | {"datum": end}},
            }
