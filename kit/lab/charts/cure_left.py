"""What the colour needs of the nitrite, and what is left of it by published surveys."""

from kit.cure.colour import Colour
from kit.lab.charts.marks import across, layer, named_list
from kit.lab.charts.style import COLOUR, numbered

PPM_SHOWN = 220


def left_chart(system: str) -> dict:
    """Ranges on one axis: what the colour takes, this dose, what is left after cooking and in surveys; below them the limits on what is left."""
    x = across("ppm:Q", "ppm NaNO2", 0, PPM_SHOWN, ticks=[0, 50, 100, 150, 200], clamp=True)
    ring = {"stroke": COLOUR["point"], "strokeWidth": 2}
    layers = (
        ("spans", "bar", {"x": x, "x2": "to:Q", "colour": "colour:N", "height": 16}),
        ("points", "dot", {"x": x, "colour": "colour:N", **ring}),
        ("words", "quiet words", {"x": x, "text": "words:N", "dx": 9}),
        ("limits", "tick", {"x": x, "orient": "vertical", "size": 24, "colour": "limit"}),
        ("limits", "words", {"x": x, "text": "words:N", "align": "right", "dx": -7}),
    )
    return named_list(
        "What the colour needs, and what is left: published, not predicted",
        "dose and need: of the meat; what is left: of the product; upright: limits on what is left",
        layers,
        labels=210,
        width=420,
        row=30,
        under=[layer("limits", "rule", x=x, strokeWidth=2, colour="band")],
    )


def left_data(
    found: Colour, dose_ppm: float, measured: float | None, limits
) -> dict[str, list[dict]]:
    """Rows for `left_chart`. `measured`: ppm NaNO2, None if nobody did. `limits`: (ppm NaNO2, name) on what is left."""
    ranges = [
        ("one NO per pigment", 0.0, found.needed_ppm_of_meat, "protein"),
        ("colour accepted in trials", *found.accepted_ppm, "gain"),
        ("this dose", 0.0, dose_ppm, "cure"),
        ("after cooking", *found.after_cook_ppm, "cure"),
        ("after storage, below", 0.0, found.after_storage_below_ppm, "cure"),
        *((one.what, one.low_ppm, one.high_ppm, "quiet") for one in found.surveys),
    ]
    if measured is not None:
        over = any(measured > most * 1.001 for most, _ in limits)
        ranges.append(("measured here", measured, measured, "fails" if over else "meets"))
    spans, points, words = [], [], []
    for n, (what, low, high, thing) in enumerate(ranges):
        place, wide = numbered(n, what), high - low >= 2
        start = low if wide else (low + high) / 2
        row = {"place": place, "ppm": start, "to": high, "colour": COLOUR[thing]}
        (spans if wide else points).append(row)
        ends = [f"{ppm:.0f}" if ppm >= 10 else f"{ppm:.2g}" for ppm in (low, high) if ppm]
        said = " to ".join(dict.fromkeys(ends)) or "0"
        words.append({"place": place, "ppm": high, "words": said})
    places = [
        {"ppm": ppm, "place": numbered(n, name), "words": f"{ppm:.0f}"}
        for n, (ppm, name) in enumerate(sorted(limits), len(ranges))
    ]
    return {"spans": spans, "points": points, "words": words, "limits": places}
