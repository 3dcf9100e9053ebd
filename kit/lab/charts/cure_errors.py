"""Every dosing error on one scale of tens: what was written beside what was meant."""

from kit.cure.error_examples import ErrorExample
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, named_list
from kit.lab.charts.style import COLOUR, numbered

LEAST, MOST = 0.5, 50_000


@alt.kept
def errors_chart(system: str) -> dict:
    """A line from the dose meant (ring) to the dose given (dot) for each error, against the range that the rule allows."""
    title = "ingoing nitrite (ppm NaNO2 of meat), logarithmic"
    ticks = {"ticks": [1, 10, 100, 1000, 10000], "format": "d", "labelOverlap": False}
    x = across("ppm:Q", title, LEAST / 2, MOST, kind="log", **ticks)
    dot = {
        "size": alt.Size("size:Q", scale=None, legend=None),
        "strokeWidth": alt.StrokeWidth("edge:Q", scale=None, legend=None),
        "stroke": COLOUR["point"],
        "colour": "colour:N",
    }
    layers = (
        ("lines", "rule", {"x": x, "x2": "to:Q", "colour": "colour:N"}),
        ("meant", "ring", {"x": x, "size": 110, "strokeWidth": 3}),
        ("given", "dot", {"x": x, **dot}),
        ("words", "quiet words", {"x": x, "text": "words:N", "dx": 13}),
    )
    return named_list(
        "Dosing errors",
        ["dot: actual dose; ring: intended dose; large: the one chosen;", "green: allowed range"],
        layers,
        labels=260,
        width=470,
        row=27,
        under=[layer("room", "field", x=x, x2="to:Q")],
    )


def errors_data(
    examples: tuple[ErrorExample, ...], chosen: int, room_ppm: tuple[float, float]
) -> dict[str, list[dict]]:
    """Rows for `errors_chart`. `room_ppm`: (least, most) ppm of the meat."""
    lines, meant, given, words = [], [], [], []
    for n, one in enumerate(examples):
        place, aim = numbered(n, one.short), _on(one.meant_ppm)
        meant.append({"place": place, "ppm": aim})
        if one.gives_ppm is None:
            words.append({"place": place, "ppm": aim, "words": "unknown: ask for the assay"})
            continue
        low, high = one.gives_ppm
        look = _dot(n == chosen, low, high, room_ppm)
        start, end = min(_on(low), aim), max(_on(high), aim)
        lines.append({"place": place, "ppm": start, "to": end, "colour": look["colour"]})
        given += [{"place": place, "ppm": _on(ppm), **look} for ppm in sorted({low, high})]
        words.append({"place": place, "ppm": end, "words": gives_words(one)})
    room = {"ppm": room_ppm[0], "to": room_ppm[1]}
    return {"room": [room], "lines": lines, "meant": meant, "given": given, "words": words}


def _dot(large: bool, low_ppm: float, high_ppm: float, room_ppm: tuple[float, float]) -> dict:
    """Large if it is the one chosen; green inside the range that the rule allows, red above, yellow below."""
    least, most = room_ppm
    colour = COLOUR["fails"] if high_ppm > most else COLOUR["fat"]
    if least * 0.999 <= low_ppm and high_ppm <= most * 1.001:
        colour = COLOUR["meets"]
    return {"size": 330 if large else 120, "edge": 4 if large else 1, "colour": colour}


def _on(ppm: float) -> float:
    return min(max(ppm, LEAST), MOST)


def gives_words(one: ErrorExample) -> str:
    """What an error gives, in words: '1,458', '78 to 193', 'unknown'."""
    if one.gives_ppm is None:
        return "unknown"
    low, high = (f"{ppm:,.0f}" if ppm >= 10 or ppm == 0 else f"{ppm:.2g}" for ppm in one.gives_ppm)
    return low if low == high else f"{low} to {high}"
