"""What the colour needs, and what of the nitrite is left by published surveys."""

import altair as alt

from kit.cure import Limit, Residual
from kit.lab.charts.style import COLOUR, LABEL, finished, names_down, numbered, rows

NEED_SHOWN, LEFT_SHOWN = 220, 180


def need_chart(system: str) -> dict:
    """Bars: nitrite for one NO per pigment, the doses at which the colour was accepted in trials, and this dose."""
    y = names_down("place", 170, labelFontSize=LABEL)
    x = alt.X(
        "ppm:Q",
        title="ppm NaNO2 of the meat",
        scale=alt.Scale(domain=[0, NEED_SHOWN], nice=False, clamp=True),
        axis=alt.Axis(values=[0, 50, 100, 150, 200]),
    )
    bar = (
        alt.Chart(rows("bars"))
        .mark_bar(height=26)
        .encode(x=x, x2="to:Q", y=y, color=alt.Color("colour:N", scale=None))
    )
    words = (
        alt.Chart(rows("bars"))
        .mark_text(align="left", dx=6, fontSize=LABEL + 1, fontWeight=600)
        .encode(x=alt.X("to:Q", title="ppm NaNO2 of the meat"), y=y, text="words:N")
    )
    return finished(
        (bar + words).properties(width=200, height=alt.Step(50)), "What the colour needs"
    )


def need_data(
    needed: float, accepted: tuple[float, float], dose_ppm: float
) -> dict[str, list[dict]]:
    """Rows for `need_chart`. `accepted`: (least, most) ppm at which colour was accepted in trials."""
    return {
        "bars": [
            {
                "place": numbered(0, "one NO per pigment"),
                "ppm": 0,
                "to": needed,
                "words": f"{needed:.0f}",
                "colour": COLOUR["protein"],
            },
            {
                "place": numbered(1, "accepted in trials"),
                "ppm": accepted[0],
                "to": accepted[1],
                "words": f"{accepted[0]:.0f} to {accepted[1]:.0f}",
                "colour": COLOUR["gain"],
            },
            {
                "place": numbered(2, "this dose"),
                "ppm": 0,
                "to": dose_ppm,
                "words": f"{dose_ppm:.0f}",
                "colour": COLOUR["cure"],
            },
        ]
    }


def need_text(needed: float, dose_ppm: float) -> str:
    return f"Bars of nitrite: one NO on each pigment takes {needed:.0f} ppm of the meat; this dose is {dose_ppm:.0f}."


def left_chart(system: str) -> dict:
    """Ranges found in products, by survey, beside the common range after cooking; below them the limits on what is left."""
    y = names_down("place", 190, labelFontSize=LABEL)
    x = alt.X(
        "ppm:Q",
        title="ppm NaNO2 left in the product",
        scale=alt.Scale(domain=[0, LEFT_SHOWN], nice=False, clamp=True),
        axis=alt.Axis(values=[0, 50, 100, 150]),
    )
    span = (
        alt.Chart(rows("spans"))
        .mark_bar(height=16)
        .encode(x=x, x2="to:Q", y=y, color=alt.Color("colour:N", scale=None))
    )
    point = (
        alt.Chart(rows("points"))
        .mark_point(size=150, filled=True, opacity=1, stroke=COLOUR["point"], strokeWidth=2)
        .encode(x=x, y=y, color=alt.Color("colour:N", scale=None))
    )
    words = (
        alt.Chart(rows("words"))
        .mark_text(align="left", dx=9, fontSize=LABEL)
        .encode(x=x, y=y, text="words:N")
    )
    line = alt.Chart(rows("limits")).mark_rule(strokeWidth=2, color=COLOUR["band"]).encode(x=x)
    tick = (
        alt.Chart(rows("limits"))
        .mark_tick(orient="vertical", thickness=3, size=24, color=COLOUR["limit"])
        .encode(x=x, y=y)
    )
    names = (
        alt.Chart(rows("limits"))
        .mark_text(align="right", dx=-7, fontSize=LABEL, fontWeight=600)
        .encode(x=x, y=y, text="words:N")
    )
    return finished(
        (line + span + point + words + tick + names).properties(width=240, height=alt.Step(30)),
        "What is left: published, not predicted",
        "upright: limits on what is left",
    )


def left_data(
    left: Residual, measured: float | None, limits: tuple[Limit, ...], as_nano2
) -> dict[str, list[dict]]:
    """Rows for `left_chart`. `measured`: ppm NaNO2, None if nobody did. `as_nano2(limit)`: its figure as NaNO2."""
    spans, points, words = [], [], []
    ranges = [
        ("after cooking", left.after_cook_low_ppm, left.after_cook_high_ppm, COLOUR["cure"]),
        ("after storage", 0.0, left.after_storage_below_ppm, COLOUR["cure"]),
        *(
            (survey.what, survey.low_ppm, survey.high_ppm, COLOUR["quiet"])
            for survey in left.surveys
        ),
    ]
    if measured is not None:
        ranges.append(
            (
                "measured here",
                measured,
                measured,
                COLOUR["fails"]
                if any(measured > as_nano2(row) * 1.001 for row in limits)
                else COLOUR["meets"],
            )
        )
    for n, (what, low, high, colour) in enumerate(ranges):
        place = numbered(
            n,
            what.removesuffix(", mean")
            .removesuffix(", group means")
            .replace("cured cooked", "cooked"),
        )
        (spans if high - low >= 2 else points).append(
            {
                "place": place,
                "ppm": low if high - low >= 2 else (low + high) / 2,
                "to": high,
                "colour": colour,
            }
        )
        words.append(
            {
                "place": place,
                "ppm": high,
                "words": f"{low:.2g}"
                if low == high
                else f"below {high:.0f}"
                if what == "after storage"
                else f"{low:.2g} to {high:.2g}",
            }
        )
    marks = sorted(
        (as_nano2(row), f"{row.jurisdiction} limit" if row.published else "yours") for row in limits
    )
    return {
        "spans": spans,
        "points": points,
        "words": words,
        "limits": [
            {"ppm": ppm, "place": numbered(len(ranges) + n, name), "words": f"{ppm:.0f}"}
            for n, (ppm, name) in enumerate(marks)
        ],
    }


def left_text(left: Residual) -> str:
    said = "; ".join(
        f"{survey.what} {survey.low_ppm:g} to {survey.high_ppm:g}" for survey in left.surveys
    )
    return f"Nitrite left, ppm: after cooking {left.after_cook_low_ppm:.0f} to {left.after_cook_high_ppm:.0f} by common practice. Surveys: {said}."
