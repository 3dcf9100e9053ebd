"""Every trap of dosing on one scale of tens: what was written beside what was meant."""

import altair as alt

from kit.cure import Trap
from kit.lab.charts.style import COLOUR, LABEL, finished, names_down, numbered, rows

LEAST, MOST = 0.5, 50_000


def slips_chart(system: str) -> dict:
    """A line from the dose meant (ring) to the dose given (dot) for each trap, against the room that the rule leaves."""
    y = names_down("place", 260, labelFontSize=LABEL)
    x = alt.X(
        "ppm:Q",
        title="ppm NaNO2 of the meat (each step is ten times)",
        scale=alt.Scale(type="log", domain=[LEAST / 2, MOST], nice=False),
        axis=alt.Axis(values=[1, 10, 100, 1000, 10000], format="d", labelOverlap=False),
    )
    room = alt.Chart(rows("room")).mark_rect(color="#dfeadd").encode(x=x, x2="to:Q")
    line = (
        alt.Chart(rows("lines"))
        .mark_rule(strokeWidth=3)
        .encode(x=x, x2="to:Q", y=y, color=alt.Color("colour:N", scale=None))
    )
    ring = (
        alt.Chart(rows("meant"))
        .mark_point(size=110, filled=False, strokeWidth=3, opacity=1)
        .encode(x=x, y=y, color=alt.value(COLOUR["ink"]))
    )
    dot = (
        alt.Chart(rows("given"))
        .mark_point(filled=True, opacity=1, stroke=COLOUR["point"])
        .encode(
            x=x,
            y=y,
            size=alt.Size("size:Q", scale=None, legend=None),
            strokeWidth=alt.StrokeWidth("edge:Q", scale=None, legend=None),
            color=alt.Color("colour:N", scale=None),
        )
    )
    words = (
        alt.Chart(rows("words"))
        .mark_text(align="left", dx=13, fontSize=LABEL)
        .encode(x=x, y=y, text="words:N", color=alt.value(COLOUR["ink"]))
    )
    return finished(
        (room + line + ring + dot + words).properties(width=470, height=alt.Step(27)),
        "Every trap by name",
        [
            "dot: what was written gives; ring: what was meant; large: the one chosen",
            "green: the room the rule leaves",
        ],
    )


def slips_data(
    traps: tuple[Trap, ...], chosen: int, room_ppm: tuple[float, float]
) -> dict[str, list[dict]]:
    """Rows for `slips_chart`. `room_ppm`: (least, most) ppm of the meat."""
    lines, meant, given, words = [], [], [], []
    for n, trap in enumerate(traps):
        place, aim = numbered(n, trap.short), _on(trap.meant_ppm)
        meant.append({"place": place, "ppm": aim})
        if trap.gives_ppm is None:
            words.append({"place": place, "ppm": aim, "words": "unknown: ask for the assay"})
            continue
        low, high = trap.gives_ppm
        colour = (
            COLOUR["meets"]
            if room_ppm[0] * 0.999 <= low and high <= room_ppm[1] * 1.001
            else COLOUR["fails"]
            if high > room_ppm[1]
            else COLOUR["fat"]
        )
        lines.append(
            {"place": place, "ppm": min(_on(low), aim), "to": max(_on(high), aim), "colour": colour}
        )
        given += [
            {
                "place": place,
                "ppm": _on(ppm),
                "size": 330 if n == chosen else 120,
                "edge": 4 if n == chosen else 1,
                "colour": colour,
            }
            for ppm in sorted({low, high})
        ]
        words.append({"place": place, "ppm": max(_on(high), aim), "words": gives_words(trap)})
    return {
        "room": [{"ppm": room_ppm[0], "to": room_ppm[1]}],
        "lines": lines,
        "meant": meant,
        "given": given,
        "words": words,
    }


def _on(ppm: float) -> float:
    return min(max(ppm, LEAST), MOST)


def gives_words(trap: Trap) -> str:
    """What a trap gives, in words: '1458', '78 to 193', 'unknown'."""
    if trap.gives_ppm is None:
        return "unknown"
    low, high = (f"{ppm:.0f}" if ppm >= 10 or ppm == 0 else f"{ppm:.2g}" for ppm in trap.gives_ppm)
    return low if low == high else f"{low} to {high}"


def slips_text(traps: tuple[Trap, ...]) -> str:
    return "Traps of dosing, ppm of the meat. " + " ".join(
        f"{trap.short}: {gives_words(trap)}, {trap.meant_ppm:.0f} meant." for trap in traps
    )
