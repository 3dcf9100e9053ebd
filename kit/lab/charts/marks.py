"""The few marks and axes that every chart is made of: one call each, sized and coloured by style.py.

A chart is a sum of layers. A layer names its data set, its style, and the fields it shows; what is not said follows from the style.
"""

from collections.abc import Callable, Iterable
from functools import partial

from kit import units
from kit.lab.charts import alt
from kit.lab.charts.style import COLOUR, LABEL, LIMIT_DASH, finished, names_down

CHANNELS = [
    "x",
    "y",
    "x2",
    "y2",
    "text",
    "detail",
    "size",
    "opacity",
    "order",
    "strokeWidth",
    "strokeDash",
    "color",
    "shape",
    "description",
]
INK, WHITE = COLOUR["ink"], "white"
STYLES: dict[str, tuple[str, dict]] = {
    "bar": ("bar", {"height": 26}),
    "band": ("rule", {"strokeWidth": 16, "color": COLOUR["band"]}),
    "interval": ("rule", {"strokeWidth": 5, "color": INK, "opacity": 0.6}),
    "rule": ("rule", {"strokeWidth": 3}),
    "limit": ("rule", {"strokeWidth": 3, "strokeDash": list(LIMIT_DASH), "color": COLOUR["limit"]}),
    "line": ("line", {"strokeWidth": 4, "clip": True}),
    "dashes": ("line", {"strokeWidth": 3, "strokeDash": [8, 3], "clip": True}),
    "dots": ("line", {"strokeWidth": 3, "strokeDash": [2, 3], "clip": True}),
    "area": ("area", {"opacity": 0.45, "clip": True}),
    "field": ("rect", {"color": "#dfeadd", "stroke": COLOUR["meets"], "strokeWidth": 1.5}),
    "shade": ("rect", {"clip": True}),
    "ring": (
        "point",
        {
            "size": 220,
            "filled": True,
            "opacity": 1,
            "color": WHITE,
            "stroke": COLOUR["point"],
            "strokeWidth": 4,
            "clip": True,
        },
    ),
    "dot": ("point", {"size": 150, "filled": True, "opacity": 1}),
    "tick": ("tick", {"thickness": 3, "size": 26}),
    "words": ("text", {"fontSize": LABEL, "fontWeight": 600, "align": "left", "dx": 6}),
    "quiet words": ("text", {"fontSize": LABEL, "align": "left", "dx": 6}),
}
"""style -> (mark, its properties)"""


def layer(data: str, style: str, *, halo: bool = False, where: str = "", **said):
    """One layer of the data set `data` in a style of STYLES.

    said: channels (x, y, x2, y2, text, color, ...) as fields, axes or values, and properties of the mark that differ from the style.
    `colour`: a thing of style.COLOUR, or "field:N" of rows that hold their own colours. `halo`: the words once more beneath, in white. `where`: which of the rows, as the chart library says it.
    """
    mark, base = STYLES[style]
    colour = said.pop("colour", None)
    if colour and ":" in colour:
        said["color"] = alt.Color(colour, scale=None)
    elif colour:
        said["color"] = COLOUR.get(colour, colour)
    encode = {
        key: value
        for key, value in said.items()
        if key in CHANNELS
        and not isinstance(value, (int, float, list))
        and (key != "color" or not isinstance(value, str))
    }
    look = {**base, **{key: value for key, value in said.items() if key not in encode}}
    if "color" in encode:
        look.pop("color", None)
    made = alt.chart(data, mark, **look).encode(**encode)
    if where:
        made = made.transform_filter(where)
    if not halo:
        return made
    under = {key: value for key, value in encode.items() if key != "color"}
    white = {**look, "stroke": WHITE, "strokeWidth": 5, "strokeJoin": "round"}
    return alt.chart(data, mark, **white).encode(**under) + made


def _axis(
    side: str,
    field: str,
    title: str,
    low: float | None = None,
    high: float | None = None,
    *,
    ticks: int | Iterable[float] = 6,
    kind: str = "linear",
    clamp: bool = False,
    format: str = "",
    zero: bool | None = None,
    **axis,
):
    """An axis from low to high (fixed, so that it stays under a slider), or free where they are left out.

    ticks: how many, or where. kind: linear, sqrt or log. clamp: what lies beyond is drawn at the end, and the words must say so.
    """
    scale = (
        {"nice": False}
        | ({"domain": [float(low), float(high)]} if low is not None else {})
        | ({"type": kind} if kind != "linear" else {})
    )
    scale |= ({"clamp": True} if clamp else {}) | ({"zero": zero} if zero is not None else {})
    axis |= {"tickCount": ticks} if isinstance(ticks, int) else {"values": list(ticks)}
    return getattr(alt, side)(
        field,
        title=title or None,
        scale=alt.Scale(**scale),
        axis=alt.Axis(**axis, **({"format": format} if format else {})),
    )


across = partial(_axis, "X")
up = partial(_axis, "Y")


def measured(side: Callable, field: str, what: str, unit: str, system: str, low, high, **axis):
    """An axis, `across` or `up`, of a quantity in the unit that is shown; `low` and `high` are in the `unit` of the kit."""
    ends = (units.to_shown(end, unit, system) for end in (low, high))
    return side(field, f"{what} ({units.shown_unit(unit, system)})", *ends, **axis)


def picture(title: str, subtitle: str, size: tuple, *layers) -> dict:
    """The layers on each other, the first beneath, `size` px wide and high, under a title."""
    width, height = size
    return finished(alt.layer(*layers).properties(width=width, height=height), title, subtitle)


def above_or_beside(row: int, above: int) -> dict:
    """Where the words of a dot on a line of a list stand: `above` px over it, or beside it where the page makes the lines, `rows` of them, much lower than `row` px."""
    low = f"height && height < {0.6 * row:g} * datum.rows"  # 0 in a picture of several charts
    return {
        "align": alt.expr(f"{low} ? 'left' : 'center'"),
        "dx": alt.expr(f"{low} ? 13 : 0"),
        "dy": alt.expr(f"{low} ? 0 : -{above}"),
    }


def named_list(
    title: str,
    subtitle,
    layers: Iterable[tuple],
    *,
    labels: int,
    width: int,
    row: int,
    under: Iterable = (),
    grid: bool = False,
) -> dict:
    """A chart of names down the side, made by `style.numbered` in the field `place`.

    layers: (data, style, channels and properties). Each stands on the axis of names; `under` are finished layers without it, such as a limit.
    labels: room for the names, px. row: height of a line, px.
    """
    y = names_down("place", labels, grid=grid) if grid else names_down("place", labels)
    named = (layer(data, style, y=y, **said) for data, style, said in layers)
    return picture(title, subtitle, (width, alt.Step(row)), *under, *named)
