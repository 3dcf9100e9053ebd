"""Charts of lesson 04: margins and cook-out, corrective actions, and the model beside what was measured."""

from functools import partial

from kit.emulsion.model import LIMIT_WORDS
from kit.lab.charts import alt
from kit.lab.charts.marks import above_or_beside, across, layer, named_list, picture
from kit.lab.charts.style import COLOUR, WIDTH, beyond, numbered

PARTS = {"water": "water", "fat": "fat", "solids": "salt"}
"""parts of the cook-out, and the thing of style.COLOUR that it is drawn as"""
MARGIN_SHOWN, OUT_SHOWN, STEPS_SHOWN = (-2.0, 3.0), 30.0, 16.0
"""ends of the fixed axes; what lies beyond is drawn at the end with an arrowhead and said in figures"""
SMALLEST = 3
"""changes drawn dark"""


def signed(value: float, digits: int = 2) -> str:
    """A number with a true minus sign, and no minus before a nought."""
    text = f"{value:.{digits}f}"
    return "0" + text[2:] if text.startswith("-0.") and float(text) == 0 else text.replace("-", "−")


# margins and cook-out ------------------------------------------------------------------------------
def _names(field: str, room: int) -> dict:
    """Names down the side in the order of the rows."""
    axis = alt.Axis(labelLimit=room, ticks=False, domain=False)
    return alt.Y(field, title=None, sort=None, axis=axis)


@alt.kept
def margins_chart(system: str) -> dict:
    """One line per limit: the margin as a point, the 90 % interval as a band, the limit of the model at 0."""
    y = _names("limit:N", 195)

    (low, high), title = MARGIN_SHOWN, "margin (0: limit of the model)"
    ends = {"low": low, "high": high, "ticks": range(-2, 4)}
    x = partial(across, title=title, format="~g", clamp=True, **ends)
    words = {"text": "words:N", **above_or_beside(58, 21)}
    point = {"colour": "colour:N", "size": 190, "stroke": "white", "strokeWidth": 2}
    return picture(
        "Emulsion margins",
        "grey: 90 % interval; red field: below the limit",
        (WIDTH - 150, alt.Step(58)),
        layer("past", "shade", x=x("from:Q"), x2="to:Q", color="#f6dedc"),
        layer("past", "limit", x=x("to:Q")),
        layer("margins", "band", y=y, x=x("low:Q"), x2="high:Q"),
        layer("margins", "dot", y=y, x=x("margin:Q"), **point),
        layer("margins", "words", halo=True, y=y, x=x("at:Q"), **words),
    )


def margins_data(answer) -> dict[str, list[dict]]:
    """Rows for `margins_chart` from an EmulsionAnswer."""
    low_end, high_end = MARGIN_SHOWN
    found = []
    for limit, margin in answer.held.margins.items():
        low, _, high = answer.spread.margins[limit].tolist()
        first = " (smallest)" if limit == answer.held.fails_first else ""
        row = {"rows": len(answer.held.margins)}
        row |= {"limit": LIMIT_WORDS[limit], "margin": margin, "low": low, "high": high}
        row["colour"] = COLOUR["fails" if margin < 0 else "cold"]
        row["at"] = min(max(margin, low_end + 0.75), high_end - 0.75)
        row["words"] = f"{'✗ ' if margin < 0 else ''}{signed(margin)}{first}"
        found.append(row)
    return {"margins": found, "past": [{"from": low_end, "to": 0}]}


@alt.kept
def cook_out_chart(system: str) -> dict:
    """Cook-out: all of it as one bar of its parts, then each part, with the 90 % interval as a line."""
    y = _names("what:N", 110)

    ends = {"low": 0, "high": OUT_SHOWN, "ticks": range(0, 31, 5)}
    x = partial(across, title="cook-out (% of raw batter)", clamp=True, **ends)
    words = {"x": x("at:Q"), "text": "words:N", "dx": 8}
    bar = {"x": x("from:Q"), "x2": "to:Q", "stroke": "white", "strokeWidth": 1}
    span = {"x": x("low:Q"), "x2": "high:Q", "colour": "ink", "strokeWidth": 4}
    return picture(
        "Cook-out",
        "line: 90 % interval",
        (WIDTH - 160, alt.Step(40)),
        layer("bars", "bar", y=y, colour="colour:N", **bar),
        layer("range", "rule", y=y, **span),
        layer("range", "words", y=y, **words),
    )


def cook_out_data(answer) -> dict[str, list[dict]]:
    """Rows for `cook_out_chart` from an EmulsionAnswer."""
    grams, ranges = answer.cook_out_g, answer.cook_out_range_g
    whole, single, start = [], [], 0.0
    for part, thing in PARTS.items():
        end, colour = start + grams[part], COLOUR[thing]
        whole.append({"what": "total", "from": start, "to": end, "colour": colour})
        single.append({"what": part, "from": 0.0, "to": grams[part], "colour": colour})
        start = end
    ranges_drawn = []
    for what, (low, _, high) in ranges.items():
        words = f"{grams[what]:.1f} ({low:.1f} to {high:.1f})"
        ranges_drawn.append(
            {
                "what": "total" if what == "all" else what,
                "low": low,
                "high": high,
                "at": OUT_SHOWN,
                "words": words,
            }
        )
    return {"bars": whole + single, "range": ranges_drawn}


# corrective actions, and measured beside modelled ---------------------------------------------------
@alt.kept
def actions_chart(system: str) -> dict:
    """Each single change that restores the limit, by its size in unit steps."""
    x = across("steps:Q", "size of the change (unit steps)", 0, 20, clamp=True)
    layers = (
        ("changes", "bar", {"x": x, "colour": "colour:N", "height": 24}),
        ("changes", "quiet words", {"x": x, "text": "words:N"}),
    )
    title, subtitle = "Single corrective actions", "dark: the three smallest"
    return named_list(title, subtitle, layers, labels=420, width=WIDTH + 20, row=36)


def actions_data(actions, names) -> dict[str, list[dict]]:
    """Rows for `actions_chart` from corrective actions, the smallest first, and their words."""
    changes = []
    for n, (action, name) in enumerate(zip(actions, names, strict=True)):
        row = {"place": numbered(n, name), "steps": min(action.steps, STEPS_SHOWN)}
        row["colour"] = COLOUR["meets" if n < SMALLEST else "band"]
        row["words"] = f"{action.steps:.1f} steps{beyond(action.steps, STEPS_SHOWN)}"
        changes.append(row)
    return {"changes": changes}


@alt.kept
def beside_chart(title: str, subtitle: str, high: float) -> dict:
    """One line per measured row: what was measured as a ring, the model before as a square and after as a disc."""
    x = partial(across, title="cook-out (% of raw batter)", low=0, high=high, clamp=True)
    square = {"shape": alt.value("square"), "size": 110, "colour": "unexplained"}
    ring = {"size": 300, "filled": False, "colour": "loss", "strokeWidth": 3.5}
    end = alt.XDatum(high, scale=alt.Scale(domain=[0, high], nice=False, clamp=True))
    far = {"x": end, "text": "far:N", "align": "right", "dx": -22}
    return named_list(
        title,
        subtitle,
        (
            (
                "rows",
                "rule",
                {"x": x("first:Q"), "x2": "second:Q", "colour": "band", "strokeWidth": 2},
            ),
            ("rows", "dot", {"x": x("first:Q"), **square}),
            ("rows", "dot", {"x": x("second:Q"), "size": 130, "colour": "cold"}),
            ("rows", "dot", {"x": x("measured:Q"), **ring}),
            ("rows", "quiet words", far),
        ),
        labels=230,
        width=WIDTH + 120,
        row=27,
        grid=True,
    )


def beside_data(labels, measured, first, second, high: float) -> dict[str, list[dict]]:
    """Rows for a `beside_chart`; what lies beyond its end is drawn at the end, with its figure."""
    found = []
    for n, (label, *values) in enumerate(zip(labels, measured, first, second, strict=True)):
        values = [float(value) for value in values]
        named = zip(("ring", "square", "disc"), values)
        far = ", ".join(f"{what} {value:.1f}" for what, value in named if value > high)
        row = dict(zip(("measured", "first", "second"), values))
        found.append({"place": numbered(n, label), **row, "far": far})
    return {"rows": found}
