"""What the colour needs, and what of the nitrite is left by published surveys."""

from kit.cure.residual import Residual
from kit.lab.charts.marks import across, layer, named_list
from kit.lab.charts.style import COLOUR, LABEL, numbered
from kit.rules.limits import Limit

NEED_SHOWN, LEFT_SHOWN = 220, 180


def need_chart(system: str) -> dict:
    """Bars: nitrite for one NO per pigment, the doses at which the colour was accepted in trials, and this dose."""
    title = "ppm NaNO2 of the meat"
    x = across("ppm:Q", title, 0, NEED_SHOWN, ticks=[0, 50, 100, 150, 200], clamp=True)
    layers = (
        ("bars", "bar", {"x": x, "x2": "to:Q", "colour": "colour:N"}),
        ("bars", "words", {"x": "to:Q", "text": "words:N", "fontSize": LABEL + 1}),
    )
    return named_list("What the colour needs", "", layers, labels=170, width=200, row=50)


def need_data(
    needed: float, accepted: tuple[float, float], dose_ppm: float
) -> dict[str, list[dict]]:
    """Rows for `need_chart`. `accepted`: (least, most) ppm at which colour was accepted in trials."""
    lines = (
        ("one NO per pigment", 0, needed, f"{needed:.0f}", "protein"),
        ("accepted in trials", *accepted, f"{accepted[0]:.0f} to {accepted[1]:.0f}", "gain"),
        ("this dose", 0, dose_ppm, f"{dose_ppm:.0f}", "cure"),
    )
    return {
        "bars": [
            {
                "place": numbered(n, name),
                "ppm": start,
                "to": end,
                "words": words,
                "colour": COLOUR[thing],
            }
            for n, (name, start, end, words, thing) in enumerate(lines)
        ]
    }


def left_chart(system: str) -> dict:
    """Ranges found in products, by survey, beside the common range after cooking; below them the limits on what is left."""
    title = "ppm NaNO2 left in the product"
    x = across("ppm:Q", title, 0, LEFT_SHOWN, ticks=[0, 50, 100, 150], clamp=True)
    ring = {"stroke": COLOUR["point"], "strokeWidth": 2}
    layers = (
        ("spans", "bar", {"x": x, "x2": "to:Q", "colour": "colour:N", "height": 16}),
        ("points", "dot", {"x": x, "colour": "colour:N", **ring}),
        ("words", "quiet words", {"x": x, "text": "words:N", "dx": 9}),
        ("limits", "tick", {"x": x, "orient": "vertical", "size": 24, "colour": "limit"}),
        ("limits", "words", {"x": x, "text": "words:N", "align": "right", "dx": -7}),
    )
    return named_list(
        "What is left: published, not predicted",
        "upright: limits on what is left",
        layers,
        labels=190,
        width=240,
        row=30,
        under=[layer("limits", "rule", x=x, strokeWidth=2, colour="band")],
    )


def left_data(
    left: Residual, measured: float | None, limits: tuple[Limit, ...], as_nano2
) -> dict[str, list[dict]]:
    """Rows for `left_chart`. `measured`: ppm NaNO2, None if nobody did. `as_nano2(limit)`: its figure as NaNO2."""
    ranges = [
        ("after cooking", left.after_cook_low_ppm, left.after_cook_high_ppm, "cure"),
        ("after storage", 0.0, left.after_storage_below_ppm, "cure"),
        *((_short(one.what), one.low_ppm, one.high_ppm, "quiet") for one in left.surveys),
    ]
    if measured is not None:
        over = any(measured > as_nano2(row) * 1.001 for row in limits)
        ranges.append(("measured here", measured, measured, "fails" if over else "meets"))
    spans, points, words = [], [], []
    for n, (what, low, high, thing) in enumerate(ranges):
        place, wide = numbered(n, what), high - low >= 2
        start = low if wide else (low + high) / 2
        row = {"place": place, "ppm": start, "to": high, "colour": COLOUR[thing]}
        (spans if wide else points).append(row)
        ends = [f"{ppm:.0f}" if ppm >= 10 else f"{ppm:.2g}" for ppm in (low, high)]
        said = ends[0] if low == high else " to ".join(ends)
        if what == "after storage":
            said = f"below {high:.0f}"
        words.append({"place": place, "ppm": high, "words": said})
    marks = sorted(
        (as_nano2(row), f"{row.jurisdiction} limit" if row.published else "yours") for row in limits
    )
    places = [
        {"ppm": ppm, "place": numbered(n, name), "words": f"{ppm:.0f}"}
        for n, (ppm, name) in enumerate(marks, len(ranges))
    ]
    return {"spans": spans, "points": points, "words": words, "limits": places}


def _short(survey: str) -> str:
    for ending in (", mean", ", group means"):
        survey = survey.removesuffix(ending)
    return survey.replace("cured cooked", "cooked")
