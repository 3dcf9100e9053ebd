"""One weight of nitrite under four names, and one rate taken from every bag."""

import altair as alt

from kit import units
from kit.cure.dose import Dose
from kit.lab.charts.marks import across, layer
from kit.lab.charts.style import (
    COLOUR,
    LABEL,
    LIMIT_DASH,
    WIDTH,
    beyond,
    finished,
    names_down,
    numbered,
)
from kit.rules.limits import Limit

PPM_SHOWN = 300
NAMES = (("meat", "NaNO2"), ("batch", "NaNO2"), ("finished", "NaNO2"), ("batch", "NO2"))
_OF = {"meat": "the meat", "batch": "the batch", "finished": "the finished product"}
_FORM = {"NaNO2": "as sodium nitrite", "NO2": "as the ion"}
TENS = [1, 10, 100, 1000, 10000, 100000]


def bars_chart(
    title: str, subtitle: str, across_title: str, labels: int, width: int, **axis
) -> dict:
    """Bars of doses, each on its own base that stands below it; a limit only on the bar that it counts on."""
    y = names_down("place", labels, labelFontSize=LABEL + 1, **axis)
    x = across("at:Q", across_title, 0, PPM_SHOWN, clamp=True)
    inside = {"color": "white", "x": alt.value(0)}
    words = [
        layer(
            "bars", "words", y=y, text="words:N", dx=9, fontSize=LABEL + 2, **look
        ).transform_filter(f"datum.at {where} 60")
        for where, look in ((">=", inside), ("<", {"x": x}))
    ]
    names = [
        layer(
            "limits", "quiet words", x=x, y=y, text="words:N", colour="colour:N", dx=-2, dy=dy
        ).transform_filter(f"datum.raised == {raised}")
        for raised, dy in (("false", -30), ("true", -46))
    ]
    tick = {"orient": "vertical", "size": 42}
    dashed, beside = (
        {"strokeDash": list(LIMIT_DASH), **tick},
        {"align": "right", "dx": 2, "dy": -30},
    )
    layers = [
        layer("bars", "bar", x=x, y=y, colour="colour:N", height=30),
        layer(
            "bars", "quiet words", x=alt.value(0), y=y, text="base:N", dx=2, dy=27, colour="quiet"
        ),
        layer(
            "limits",
            "tick",
            x=x,
            y=y,
            colour="colour:N",
            tooltip=alt.Tooltip("long:N", title="limit"),
            **tick,
        ),
        *names,
        layer("floors", "tick", x=x, y=y, colour="limit", aria=False, **dashed),
        layer("floors", "quiet words", x=x, y=y, text="words:N", aria=False, **beside),
        *words,
    ]
    whole = alt.layer(*layers).properties(width=width, height=alt.Step(84))
    return finished(whole, title, subtitle)


def bar(at: float, over: bool, base_kg: str) -> dict:
    """What stands on a row of `bars`."""
    return {
        "at": at,
        "words": f"{'✗ ' if over else ''}{at:.0f}{beyond(at, PPM_SHOWN)}",
        "base": base_kg,
        "colour": COLOUR["fails"] if over else COLOUR["cure"],
    }


def names_chart(system: str) -> dict:
    """One bar per name of the same nitrite; on each bar only the limits that count on that base and in that form."""
    return bars_chart(
        "One weight of nitrite, four numbers",
        "a limit stands only on the name it counts in; black: the rule chosen",
        "ppm (mg per kg)",
        330,
        500,
        labelExpr="slice(split(datum.label, '|'), 1)",
        labelOffset=-9,
    )


def names_data(
    dose: Dose, chosen: tuple[Limit, ...], others: tuple[Limit, ...], system: str
) -> dict[str, list[dict]]:
    """Rows for `names_chart`. `chosen` are the rows of the rule that holds, `others` ceilings shown beside them."""
    bars, limits, floors = [], [], []
    for n, (basis, form) in enumerate(NAMES):
        base = dose.base_kg(basis)
        if base is None:
            continue
        ppm, name = dose.ppm(basis, form), f"per kg of {_OF[basis]},|{_FORM[form]}"
        place = {"place": numbered(n, name), "label": name.replace("|", " ")}
        here = [row for row in (*chosen, *others) if _counts(row, basis, form)]
        most = [row for row in here if row.comparison == "max"]
        over = any(row in chosen and ppm > row.limit * 1.001 for row in most)
        grams = units.show(ppm * base / 1000, "g", system, 2 if system == units.METRIC else 3)
        below = f"{grams} in {units.show(base, 'kg', system, 1)}"
        bars.append(place | bar(ppm, over, below))
        limits += _merged(place, most, chosen)
        floors += [
            place | {"at": row.limit, "words": f"at least {row.limit:.0f}"}
            for row in here
            if row.comparison == "min" and row in chosen
        ]
    return {"bars": bars, "limits": limits, "floors": floors}


def _counts(row: Limit, basis: str, form: str) -> bool:
    return (
        row.quantity in ("nitrite ingoing", "nitrite finished")
        and row.basis == basis
        and (row.as_salt == form or (row.as_salt == "as used" and form == "NaNO2"))
    )


def _merged(place: dict, here, chosen) -> list[dict]:
    """Limits of one figure share a mark; the chosen rule is named first and drawn black. A name that would run into the next one is raised."""
    found: list[dict] = []
    for figure in sorted({row.limit for row in here}):
        same = sorted(
            (row for row in here if row.limit == figure), key=lambda row: row not in chosen
        )
        places = ", ".join(dict.fromkeys(row.jurisdiction for row in same))
        near = bool(found) and figure - found[-1]["at"] < 40
        mark = {
            "at": figure,
            "raised": near and not found[-1]["raised"],
            "words": f"{places} {figure:.0f}",
            "long": "; ".join(row.in_words for row in same),
            "colour": COLOUR["limit"] if same[0] in chosen else COLOUR["quiet"],
        }
        found.append(place | mark)
    return found


def dot_channels() -> dict:
    """Size, edge and colour of a dot from its row, as `dot` makes it."""
    return {
        "size": alt.Size("size:Q", scale=None, legend=None),
        "strokeWidth": alt.StrokeWidth("edge:Q", scale=None, legend=None),
        "stroke": COLOUR["point"],
        "colour": "colour:N",
    }


def dot(large: bool, low_ppm: float, high_ppm: float, room_ppm: tuple[float, float]) -> dict:
    """What a dot looks like: large if it is the one chosen; green inside the room that the rule leaves, red above, yellow below."""
    least, most = room_ppm
    colour = COLOUR["fails"] if high_ppm > most else COLOUR["fat"]
    if least * 0.999 <= low_ppm and high_ppm <= most * 1.001:
        colour = COLOUR["meets"]
    return {"size": 330 if large else 120, "edge": 4 if large else 1, "colour": colour}


def bags_chart(system: str, strengths_pct: tuple[float, ...]) -> dict:
    """One rate, taken from each bag on the shelf: ppm of the meat on a scale of tens, against the room that the rule leaves."""
    title = "ppm NaNO2 of the meat (each step is ten times)"
    x = across(
        "at:Q",
        title,
        1,
        1e5,
        kind="log",
        ticks=TENS,
        format="d",
        labelOverlap=False,
        labelFlush=True,
    )
    y = alt.Y(
        "bag:N",
        title="bag, % nitrite",
        scale=alt.Scale(domain=[f"{pct:g} %" for pct in strengths_pct]),
        axis=alt.Axis(ticks=False, domain=False, grid=True, labelLimit=160),
    )
    top = {"y": alt.value(6), "baseline": "top", "lineBreak": "|", "fontSize": LABEL - 1}
    layers = (
        layer("room", "field", x=x, x2="to:Q"),
        layer("marks", "limit", x=x, strokeWidth=2, colour="fails"),
        layer("bags", "dot", x=x, y=y, **dot_channels()),
        layer("bags", "quiet words", halo=True, x=x, y=y, text="words:N", dx=15),
        layer("marks", "quiet words", x=x, text="words:N", dx=5, colour="fails", **top),
    )
    whole = alt.layer(*layers).properties(width=WIDTH + 330, height=alt.Step(44))
    return finished(
        whole,
        "One rate, every bag on the shelf",
        "green: the room the rule leaves; large: the bag in your hand; red: multiples of the ceiling",
    )


def bags_data(bags, used_pct: float, meant_pct: float, room_ppm) -> dict[str, list[dict]]:
    """Rows for `bags_chart`. `bags`: (strength %, ppm of the meat). `room_ppm`: (least, most)."""
    dots = []
    for strength, ppm in bags:
        mine, meant = abs(strength - used_pct) < 1e-9, abs(strength - meant_pct) < 1e-9
        said = ["in your hand"] * mine + ["what the recipe meant"] * meant
        name = f"{strength:g} %"
        words = f"{ppm:.0f} {', '.join(said)}".strip()
        at = {"bag": name, "label": name, "at": min(max(ppm, 1), 1e5), "words": words}
        dots.append(at | dot(mine, ppm, ppm, room_ppm))
    least, most = room_ppm
    return {
        "bags": dots,
        "room": [{"at": least, "to": most}],
        "marks": [
            {"at": times * most, "words": f"{times} times|the ceiling"} for times in (10, 100)
        ],
    }
