"""One weight of nitrite under four names."""

from kit import units
from kit.cure.dose import Dose
from kit.lab.charts import alt
from kit.lab.charts.marks import across, layer, picture
from kit.lab.charts.style import COLOUR, LABEL, LIMIT_DASH, beyond, names_down, numbered
from kit.rules.limits import Limit

PPM_SHOWN, NARROW_PX = 300, 330
NAMES = (("meat", "NaNO2"), ("batch", "NaNO2"), ("finished", "NaNO2"), ("batch", "NO2"))
_OF = {"meat": "the meat", "batch": "the batch", "finished": "the finished product"}
_FORM = {"NaNO2": "as sodium nitrite", "NO2": "as nitrite ion"}


@alt.kept
def names_chart(system: str) -> dict:
    """One bar per basis of the same nitrite, with its weight; on each bar only the limits of that basis and form."""
    named = {"labelExpr": "slice(split(datum.label, '|'), 1)", "labelOffset": -9}
    y = names_down("place", 330, labelFontSize=LABEL + 1, **named)
    x = across("at:Q", "nitrite (ppm = mg/kg)", 0, PPM_SHOWN, clamp=True)
    inside = {"color": "white", "x": alt.value(0)}
    words = {"y": y, "text": "words:N", "dx": 9, "fontSize": LABEL + 2}
    # where bars are short each name has a line of its own, and stands on the side where there is room
    narrow = f"width && width < {NARROW_PX}"  # 0 in a picture of several charts
    left = f"{narrow} && datum.at > {PPM_SHOWN / 3:g}"
    over = {
        "align": alt.expr(f"{left} ? 'right' : 'left'"),
        "dx": alt.expr(f"{left} ? 2 : -2"),
        "dy": alt.expr(f"-30 - 16 * ({narrow} ? datum.line : datum.raised)"),
    }
    tick = {"orient": "vertical", "size": 42}
    dashed = {"strokeDash": list(LIMIT_DASH), **tick}
    beside = {"align": "right", "dx": 2, "dy": -30}
    base = {"x": alt.value(0), "text": "base:N", "dx": 2, "dy": 27, "colour": "quiet"}
    drawn = picture(
        "Ingoing nitrite on four bases",
        "each limit is drawn only for its basis; black: the rule chosen",
        (500, alt.Step(84)),
        layer("bars", "bar", x=x, y=y, colour="colour:N", height=30),
        layer("bars", "quiet words", y=y, **base),
        layer("limits", "tick", x=x, y=y, colour="colour:N", **tick),
        layer("limits", "quiet words", x=x, y=y, text="words:N", colour="colour:N", **over),
        layer("floors", "tick", x=x, y=y, colour="limit", aria=False, **dashed),
        layer("floors", "quiet words", x=x, y=y, text="words:N", aria=False, **beside),
        layer("bars", "words", where="datum.at >= 60", **words, **inside),
        layer("bars", "words", where="datum.at < 60", **words, x=x),
    )
    return drawn | {"usermeta": {"row": 68}}  # or names would run into the line above


def names_data(
    dose: Dose, chosen: tuple[Limit, ...], others: tuple[Limit, ...], system: str
) -> dict[str, list[dict]]:
    """Rows for `names_chart`. `chosen` are the rows of the rule that holds, `others` ceilings shown beside them."""
    bars, limits, floors = [], [], []
    for n, (basis, form) in enumerate(NAMES):
        base = dose.base_kg(basis)
        if base is None:
            continue
        ppm, name = dose.ppm(basis, form), f"of {_OF[basis]},|{_FORM[form]}"
        place = {"place": numbered(n, name), "label": name.replace("|", " ")}
        here = [row for row in (*chosen, *others) if _counts(row, basis, form)]
        most = [row for row in here if row.comparison == "max"]
        over = any(row in chosen and ppm > row.limit * 1.001 for row in most)
        grams = units.show(ppm * base / 1000, "g", system, 2 if system == units.METRIC else 3)
        shown = {
            "at": ppm,
            "words": f"{'✗ ' if over else ''}{ppm:.0f}{beyond(ppm, PPM_SHOWN)}",
            "base": f"{grams} in {units.show(base, 'kg', system, 1)}",
            "colour": COLOUR["fails"] if over else COLOUR["cure"],
        }
        bars.append(place | shown)
        least = [row for row in here if row.comparison == "min" and row in chosen]
        floors += [place | {"at": row.limit, "words": f"at least {row.limit:.0f}"} for row in least]
        limits += _merged(place, most, chosen, bool(least))
    return {"bars": bars, "limits": limits, "floors": floors}


def _counts(row: Limit, basis: str, form: str) -> bool:
    return (
        row.quantity in ("nitrite ingoing", "nitrite finished")
        and row.basis == basis
        and (row.as_salt == form or (row.as_salt == "as used" and form == "NaNO2"))
    )


def _merged(place: dict, here, chosen, floor: bool) -> list[dict]:
    """Limits of one figure share a mark; the chosen rule is named first and drawn black. A name that would run into the one before is raised; `line`: above a floor's and those before."""
    found: list[dict] = []
    for figure in sorted({row.limit for row in here}):
        same = sorted(
            (row for row in here if row.limit == figure), key=lambda row: row not in chosen
        )
        places = ", ".join(dict.fromkeys(row.jurisdiction for row in same))
        near = bool(found) and figure - found[-1]["at"] < 40
        mark = {
            "at": figure,
            "raised": int(near and not found[-1]["raised"]),
            "line": floor + len(found),
            "words": f"{places} {figure:.0f}",
            "colour": COLOUR["limit"] if same[0] in chosen else COLOUR["quiet"],
        }
        found.append(place | mark)
    return found
