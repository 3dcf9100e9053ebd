"""One weight of nitrite under four names, the scale's funnel, what salt stops, and one rate taken from every bag."""

import altair as alt

from kit import units
from kit.cure import Dose, Limit
from kit.lab.charts.style import COLOUR, LABEL, LIMIT_DASH, WIDTH, beyond, finished, rows

PPM_SHOWN = 300
NAMES = (("meat", "NaNO2"), ("batch", "NaNO2"), ("finished", "NaNO2"), ("batch", "NO2"))
_OF = {"meat": "the meat", "batch": "the batch", "finished": "the finished product"}
_FORM = {"NaNO2": "as sodium nitrite", "NO2": "as the ion"}
STATE = alt.Scale(domain=["within", "over"], range=[COLOUR["cure"], COLOUR["fails"]])


def names_chart(system: str) -> dict:
    """One bar per name of the same nitrite; on each bar only the limits that count on that base and in that form."""
    order = [_name(*which) for which in NAMES]
    y = alt.Y(
        "name:N",
        title=None,
        scale=alt.Scale(domain=order),
        axis=alt.Axis(
            labelLimit=330,
            labelFontSize=LABEL + 1,
            ticks=False,
            domain=False,
            labelOffset=-9,
            labelExpr="split(datum.label, '|')",
        ),
    )
    x = alt.X(
        "at:Q",
        title="ppm (mg per kg)",
        scale=alt.Scale(domain=[0, PPM_SHOWN], clamp=True, nice=False),
        axis=alt.Axis(tickCount=6),
    )
    bar = (
        alt.Chart(rows("names"))
        .mark_bar(height=30)
        .encode(y=y, x=x, color=alt.Color("state:N", scale=STATE, legend=None))
    )
    words = [
        alt.Chart(rows("names"))
        .transform_filter(f"datum.at {where} 60")
        .mark_text(align="left", dx=9, fontSize=LABEL + 2, fontWeight=700, color=ink)
        .encode(y=y, x=spot, text="words:N")
        for where, spot, ink in ((">=", alt.value(0), "white"), ("<", x, COLOUR["ink"]))
    ]
    over = (
        alt.Chart(rows("names"))
        .mark_text(align="left", dx=2, dy=27, fontSize=LABEL, color=COLOUR["quiet"])
        .encode(y=y, x=alt.value(0), text="over:N")
    )
    tick = (
        alt.Chart(rows("limits"))
        .mark_tick(orient="vertical", thickness=3, size=42)
        .encode(
            y=y,
            x=x,
            color=alt.Color("colour:N", scale=None),
            tooltip=[alt.Tooltip("long:N", title="limit")],
        )
    )
    labels = [
        alt.Chart(rows("limits"))
        .transform_filter(f"datum.raised == {raised}")
        .mark_text(align="left", dx=-2, dy=dy, fontSize=LABEL)
        .encode(y=y, x=x, text="words:N", color=alt.Color("colour:N", scale=None))
        for raised, dy in (("false", -30), ("true", -46))
    ]
    floor = (
        alt.Chart(rows("floors"))
        .mark_tick(orient="vertical", thickness=3, size=42, strokeDash=list(LIMIT_DASH))
        .encode(y=y, x=x, color=alt.value(COLOUR["limit"]))
    )
    below = (
        alt.Chart(rows("floors"))
        .mark_text(align="right", dx=2, dy=-30, fontSize=LABEL)
        .encode(y=y, x=x, text="words:N")
    )
    return finished(
        alt.layer(bar, over, tick, *labels, floor, below, *words).properties(
            width=500, height=alt.Step(84)
        ),
        "One weight of nitrite, four numbers",
        "a limit stands only on the name it counts in; black: the rule chosen",
    )


def names_data(
    dose: Dose, chosen: tuple[Limit, ...], others: tuple[Limit, ...], system: str
) -> dict[str, list[dict]]:
    """Rows for `names_chart`. `chosen` are the rows of the rule that holds, `others` ceilings shown beside them."""
    names, limits, floors = [], [], []
    for basis, form in NAMES:
        base = dose.base_kg(basis)
        if base is None:
            continue
        ppm = dose.ppm(basis, form)
        name = _name(basis, form)
        here = [row for row in (*chosen, *others) if _counts(row, basis, form)]
        over = any(
            row in chosen and row.comparison == "max" and ppm > row.limit * 1.001 for row in here
        )
        names.append(
            {
                "name": name,
                "at": ppm,
                "state": "over" if over else "within",
                "over": f"{units.show(ppm * base / 1000, 'g', system, 2 if system == units.METRIC else 3)} in {units.show(base, 'kg', system, 1)}",
                "words": f"{'✗ ' if over else ''}{ppm:.0f}{beyond(ppm, PPM_SHOWN)}",
            }
        )
        limits += _merged(name, [row for row in here if row.comparison == "max"], chosen)
        floors += [
            {"name": name, "at": row.limit, "words": f"at least {row.limit:.0f}"}
            for row in here
            if row.comparison == "min" and row in chosen
        ]
    return {"names": names, "limits": limits, "floors": floors}


def _name(basis: str, form: str) -> str:
    return f"per kg of {_OF[basis]},|{_FORM[form]}"


def _counts(row: Limit, basis: str, form: str) -> bool:
    return (
        row.quantity in ("nitrite ingoing", "nitrite finished")
        and row.basis == basis
        and (row.as_salt == form or (row.as_salt == "as used" and form == "NaNO2"))
    )


def _merged(name: str, here, chosen) -> list[dict]:
    """Limits of one figure share a mark; the chosen rule is named first and drawn black. A name that would run into the next one is raised."""
    found = []
    for figure in sorted({row.limit for row in here}):
        same = sorted(
            (row for row in here if row.limit == figure), key=lambda row: row not in chosen
        )
        own = same[0] in chosen
        places = ", ".join(dict.fromkeys(row.jurisdiction for row in same))
        raised = bool(found) and figure - found[-1]["at"] < 40 and not found[-1]["raised"]
        found.append(
            {
                "name": name,
                "at": figure,
                "raised": raised,
                "words": f"{places} {figure:.0f}",
                "long": "; ".join(row.in_words for row in same),
                "colour": COLOUR["limit"] if own else COLOUR["quiet"],
            }
        )
    return found


def names_text(dose: Dose) -> str:
    said = "; ".join(
        f"{dose.ppm(basis, form):.0f} ppm of {_OF[basis]} {_FORM[form]}"
        for basis, form in NAMES
        if dose.base_kg(basis) is not None
    )
    return f"Bars of the same {dose.nitrite_kg * 1000:.3g} g of nitrite: {said}."


def scale_chart(system: str) -> dict:
    """The dose behind the nearest reading, against the size of the batch: a saw that opens into a funnel for small batches."""
    unit = units.shown_unit("kg", system)
    domain = [float(units.to_shown(kg, "kg", system)) for kg in (1, 100)]
    ticks = [1, 2, 5, 10, 20, 50, 100] if system == units.METRIC else [3, 5, 10, 20, 50, 100, 200]
    x = alt.X(
        "meat:Q",
        title=f"meat in the batch, {unit}",
        scale=alt.Scale(type="log", domain=domain, nice=False),
        axis=alt.Axis(values=ticks, format="~g"),
    )
    y = alt.Y(
        "low:Q",
        title="ppm of the meat",
        scale=alt.Scale(domain=[0, PPM_SHOWN], nice=False),
        axis=alt.Axis(tickCount=6),
    )
    at = alt.Y("ppm:Q", title="ppm of the meat", scale=alt.Scale(domain=[0, PPM_SHOWN], nice=False))
    funnel = (
        alt.Chart(rows("sweep"))
        .mark_area(color=COLOUR["cure"], opacity=0.45, clip=True)
        .encode(x=x, y=y, y2="high:Q")
    )
    middle = (
        alt.Chart(rows("sweep"))
        .mark_line(color=COLOUR["cure"], strokeWidth=2, clip=True)
        .encode(x=x, y=at)
    )
    limit = (
        alt.Chart(rows("limits"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=3, color=COLOUR["limit"])
        .encode(y=at)
    )
    names = (
        alt.Chart(rows("limits"))
        .mark_text(align="right", fontSize=LABEL, fontWeight=600)
        .encode(x=alt.X("meat:Q"), y="label:Q", text="words:N")
    )
    least = (
        alt.Chart(rows("least"))
        .mark_rule(strokeWidth=3, color=COLOUR["quiet"])
        .encode(x=x, y=alt.datum(0), y2=alt.datum(40))
    )
    said = (
        alt.Chart(rows("least"))
        .mark_text(
            align=alt.expr("datum.left ? 'left' : 'right'"),
            dx=alt.expr("datum.left ? 6 : -6"),
            fontSize=LABEL,
            fontWeight=600,
        )
        .encode(x=x, y=alt.datum(14), text="words:N")
    )
    doubt = (
        alt.Chart(rows("here"))
        .mark_rule(strokeWidth=5, color=COLOUR["ink"], clip=True)
        .encode(x=x, y=y, y2="high:Q")
    )
    point = (
        alt.Chart(rows("here"))
        .mark_point(
            size=190,
            filled=True,
            opacity=1,
            color="white",
            stroke=COLOUR["point"],
            strokeWidth=4,
            clip=True,
        )
        .encode(x=x, y=at)
    )
    return finished(
        (funnel + middle + limit + names + least + said + doubt + point).properties(
            width=WIDTH + 330, height=340
        ),
        "What this scale can dose",
        "pink: the dose that hides behind the nearest reading; ring and bar: this batch",
    )


def scale_data(sweep, here, limits, tolerance_pct: float, system: str) -> dict[str, list[dict]]:
    """Rows for `scale_chart`. `sweep`: arrays meat_kg, ppm, low, high. `here`: (meat_kg, ScaleAnswer). `limits`: (ppm of the meat, words)."""

    def shown(kg):
        return units.to_shown(kg, "kg", system)

    meat_kg, answer = here
    right, least = float(shown(98)), min(max(answer.smallest_meat_kg, 1), 100)
    near = len(limits) > 1 and abs(limits[0][0] - limits[1][0]) < 16
    placed = [
        {
            "ppm": ppm,
            "label": ppm + (-9 if (near and n == 0) or "least" in words else 9),
            "meat": right,
            "words": words,
        }
        for n, (ppm, words) in enumerate(limits)
    ]
    return {
        "sweep": [
            {"meat": m, "ppm": p, "low": a, "high": b}
            for m, p, a, b in zip(*(x.tolist() for x in (shown(sweep[0]), *sweep[1:])))
        ],
        "limits": placed,
        "least": [
            {
                "meat": float(shown(least)),
                "left": bool(least < 10),
                "words": f"± {tolerance_pct:g} % from {units.show(answer.smallest_meat_kg, 'kg', system, 1)}",
            }
        ],
        "here": [
            {
                "meat": float(shown(meat_kg)),
                "ppm": answer.ppm_of_meat,
                "low": answer.low_ppm_of_meat,
                "high": answer.high_ppm_of_meat,
            }
        ],
    }


def scale_text(answer) -> str:
    return (
        f"Dose behind the nearest reading against the size of the batch. Here {answer.reading_g:g} g may be {answer.low_ppm_of_meat:.0f} to "
        f"{answer.high_ppm_of_meat:.0f} ppm; within ± {answer.tolerance_pct:g} % from {answer.smallest_meat_kg:.3g} kg of meat on."
    )


def aw_chart(system: str) -> dict:
    """Water activity against brine strength, both relations, with the least water activity at which each organism was seen to grow."""
    x = alt.X(
        "brine:Q",
        title="salt in the water phase, %",
        scale=alt.Scale(domain=[0, 22], nice=False),
        axis=alt.Axis(values=[0, 5, 10, 15, 20]),
    )
    y = alt.Y(
        "aw:Q",
        title="water activity, 25 °C",
        scale=alt.Scale(domain=[0.84, 1.0], nice=False),
        axis=alt.Axis(tickCount=8, format=".2f"),
    )
    span = (
        alt.Chart(rows("usual")).mark_rect(color=COLOUR["band"], opacity=0.7).encode(x=x, x2="to:Q")
    )
    floor = (
        alt.Chart(rows("growth"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["limit"])
        .encode(y=y)
    )
    names = (
        alt.Chart(rows("growth"))
        .mark_text(align="right", dy=-9, fontSize=LABEL)
        .encode(x=alt.datum(21.8), y=y, text="words:N")
    )
    curve = (
        alt.Chart(rows("curve"))
        .mark_line(color=COLOUR["water"], strokeWidth=4, clip=True)
        .encode(x=x, y=y)
    )
    quick = (
        alt.Chart(rows("quick"))
        .mark_line(color=COLOUR["ink"], strokeWidth=2, strokeDash=[2, 4], clip=True)
        .encode(x=x, y=y)
    )
    point = (
        alt.Chart(rows("here"))
        .mark_point(
            size=190,
            filled=True,
            opacity=1,
            color="white",
            stroke=COLOUR["point"],
            strokeWidth=4,
            clip=True,
        )
        .encode(x=x, y=y)
    )
    said = [
        alt.Chart(rows("here"))
        .transform_filter(f"datum.when == '{when}'")
        .mark_text(align=align, dx=dx, dy=dy, fontSize=LABEL, fontWeight=600, clip=True)
        .encode(x=x, y=y, text="when:N")
        for when, align, dx, dy in (("raw", "left", 11, -11), ("finished", "right", -11, 13))
    ]
    return finished(
        alt.layer(span, floor, curve, quick, names, point, *said).properties(
            width=WIDTH + 110, height=380
        ),
        "What salt alone stops",
        [
            "dashed: growth seen down to here; grey: where frankfurters lie",
            "blue: Pitzer; dotted: the trade's quadratic, up to its end",
        ],
    )


def aw_data(curve, quick, raw, finished_brine, usual) -> dict[str, list[dict]]:
    """Rows for `aw_chart`. `curve`, `quick`: arrays (brine, aw). `usual`: (low, high) brine of published frankfurters."""
    floors: dict[float, list[str]] = {}
    for row in finished_brine.growth:
        floors.setdefault(row.least_aw, []).append(_short(row.organism))
    return {
        "curve": _line(*curve),
        "quick": _line(*quick),
        "usual": [{"brine": usual[0], "to": usual[1]}],
        "growth": [{"aw": aw, "words": ", ".join(names)} for aw, names in floors.items()],
        "here": [
            {"when": when, "brine": b.brine_pct, "aw": b.aw}
            for when, b in (("raw", raw), ("finished", finished_brine))
        ],
    }


def _line(brine, aw) -> list[dict]:
    return [{"brine": x, "aw": y} for x, y in zip(brine.tolist(), aw.tolist()) if y == y]


def _short(organism: str) -> str:
    first, _, rest = organism.partition(" ")
    return f"{first[0]}. {rest}" if rest and not rest[0].isupper() else organism


def aw_text(raw, done) -> str:
    return (
        f"Curve of water activity against brine strength. Raw batter {raw.brine_pct:.1f} %, {raw.aw:.3f}; finished {done.brine_pct:.1f} %, {done.aw:.3f}. "
        + " ".join(f"{g.organism} grows down to {g.least_aw:g}." for g in done.growth)
    )


def salt_chart(system: str) -> dict:
    """Where the salt comes from, before and after the cook."""
    y = alt.Y(
        "when:N",
        title=None,
        scale=alt.Scale(domain=["raw batter", "finished"]),
        axis=alt.Axis(labelFontSize=LABEL + 1, ticks=False, domain=False),
    )
    x = alt.X(
        "from:Q",
        title="salt, % of the weight",
        scale=alt.Scale(domain=[0, 16], nice=False, clamp=True),
        axis=alt.Axis(tickCount=5),
    )
    parts = alt.Scale(domain=["salt", "salt of the cure"], range=[COLOUR["salt"], COLOUR["cure"]])
    bar = (
        alt.Chart(rows("parts"))
        .mark_bar(height=44)
        .encode(
            y=y,
            x=x,
            x2="to:Q",
            color=alt.Color(
                "part:N", scale=parts, legend=alt.Legend(title=None, symbolType="square", columns=1)
            ),
        )
    )
    words = (
        alt.Chart(rows("whole"))
        .mark_text(align="left", dx=7, fontSize=LABEL + 1, fontWeight=600)
        .encode(y=y, x=alt.X("to:Q", title="salt, % of the weight"), text="words:N")
    )
    return finished((bar + words).properties(width=230, height=150), "Whose salt it is")


def salt_data(raw, done, cure_salt_kg: float) -> dict[str, list[dict]]:
    """Rows for `salt_chart`."""
    parts, whole = [], []
    for when, b in (("raw batter", raw), ("finished", done)):
        own = 100 * cure_salt_kg / b.product_kg
        parts += [
            {"when": when, "part": "salt", "from": 0, "to": b.salt_pct - own},
            {"when": when, "part": "salt of the cure", "from": b.salt_pct - own, "to": b.salt_pct},
        ]
        whole.append({"when": when, "to": min(b.salt_pct, 14), "words": f"{b.salt_pct:.2f} %"})
    return {"parts": parts, "whole": whole}


def salt_text(raw, done) -> str:
    return f"Bars of salt: raw batter {raw.salt_pct:.2f} %, finished {done.salt_pct:.2f} % of the weight."


def bags_chart(system: str, strengths_pct: tuple[float, ...]) -> dict:
    """One rate, taken from each bag on the shelf: ppm of the meat on a scale of tens, against the room that the rule leaves."""
    x = alt.X(
        "ppm:Q",
        title="ppm NaNO2 of the meat (each step is ten times)",
        scale=alt.Scale(type="log", domain=[1, 100000], nice=False),
        axis=alt.Axis(
            values=[1, 10, 100, 1000, 10000, 100000],
            format="d",
            labelOverlap=False,
            labelFlush=True,
        ),
    )
    y = alt.Y(
        "bag:N",
        title="bag, % nitrite",
        scale=alt.Scale(domain=[f"{pct:g} %" for pct in strengths_pct]),
        axis=alt.Axis(ticks=False, domain=False, grid=True, labelLimit=160),
    )
    room = alt.Chart(rows("room")).mark_rect(color="#dfeadd").encode(x=x, x2="to:Q")
    marks = (
        alt.Chart(rows("marks"))
        .mark_rule(strokeDash=list(LIMIT_DASH), strokeWidth=2, color=COLOUR["fails"])
        .encode(x=x)
    )
    dot = (
        alt.Chart(rows("bags"))
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
        alt.Chart(rows("bags"))
        .mark_text(align="left", dx=15, fontSize=LABEL, stroke="white", strokeWidth=4)
        .encode(x=x, y=y, text="words:N")
    )
    over = (
        alt.Chart(rows("bags"))
        .mark_text(align="left", dx=15, fontSize=LABEL)
        .encode(x=x, y=y, text="words:N", color=alt.value(COLOUR["ink"]))
    )
    said = (
        alt.Chart(rows("marks"))
        .mark_text(align="left", dx=5, baseline="top", fontSize=LABEL - 1, lineBreak="|")
        .encode(x=x, y=alt.value(6), text="words:N", color=alt.value(COLOUR["fails"]))
    )
    return finished(
        (room + marks + dot + words + over + said).properties(
            width=WIDTH + 330, height=alt.Step(44)
        ),
        "One rate, every bag on the shelf",
        "green: the room the rule leaves; large: the bag in your hand; red: multiples of the ceiling",
    )


def bags_data(bags, used_pct: float, meant_pct: float, room_ppm, marks) -> dict[str, list[dict]]:
    """Rows for `bags_chart`. `bags`: (strength %, ppm of the meat). `room_ppm`: (least, most). `marks`: (ppm of the meat, words)."""

    def dot(strength, ppm):
        mine, meant = abs(strength - used_pct) < 1e-9, abs(strength - meant_pct) < 1e-9
        inside = room_ppm[0] * 0.999 <= ppm <= room_ppm[1] * 1.001
        note = "in your hand" if mine else ""
        note += (", " if note and meant else "") + ("what the recipe meant" if meant else "")
        return {
            "bag": f"{strength:g} %",
            "ppm": min(max(ppm, 1), 1e5),
            "size": 330 if mine else 120,
            "edge": 4 if mine else 1,
            "colour": COLOUR["meets"]
            if inside
            else COLOUR["fails"]
            if ppm > room_ppm[1]
            else COLOUR["fat"],
            "words": f"{ppm:.0f} {note}".strip(),
        }

    return {
        "bags": [dot(*bag) for bag in bags],
        "room": [{"ppm": room_ppm[0], "to": room_ppm[1]}],
        "marks": [{"ppm": ppm, "words": words} for ppm, words in marks],
    }


def bags_text(bags, used_pct: float) -> str:
    return "One rate from each bag. " + " ".join(
        f"{'In your hand: ' if s == used_pct else ''}{s:g} %: {ppm:.0f} ppm." for s, ppm in bags
    )
