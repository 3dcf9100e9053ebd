"""Rows and words that several panels of the cook share."""

from collections.abc import Sequence

from kit import units
from kit.chain.cook import CookAnswer
from kit.chain.cook_yield import BASE, ExpectedYield
from kit.lab.panels.view import Row
from kit.lethality import Finding
from kit.tables import number

YIELD = f"cook yield ({BASE})"
COLUMNS = ("what", "value", "limit", "margin", "source")
INVENTED = "The demo batch and the demo log are invented."
P70_EDITION = "2007, as quoted in 2010"
_STATUS = {"read": "read at its source", "quoted": "second-hand", "memory": "from memory"}
AS_RECKONED = "reckoned from the plan: a plan shows nothing, only a measured record does"


def cook_rows(answer: CookAnswer, system: str) -> tuple[Row, ...]:
    """Lines for an outcome table: core target, water, expected yield, the printed rows that the plan would meet, and the cooling windows."""
    return (
        core_row(answer, system),
        *water_rows(answer, system),
        *lethal_rows(answer, system),
        *cooling_rows(answer.cooling),
    )


def edition(printed: str, status: str) -> str:
    """An edition and how surely it was read, in words."""
    said = _STATUS[status]
    return printed if said in printed else f"{printed}; {said}"


def core_row(answer, system: str) -> Row:
    """`answer`: a CookAnswer or anything with `cooked`."""
    target = answer.cooked.targets[0]
    aim = f"core at least {units.show(target.target_C, '°C', system)} (your own)"
    if target.reached:
        return Row(
            (
                "core is there after",
                f"{target.minutes:.1f} min",
                aim,
                f"peak {units.show(target.peak_C, '°C', system)}",
                "computed",
            )
        )
    return Row(
        (
            "core never gets there",
            f"peak {units.show(target.peak_C, '°C', system)}",
            aim,
            f"✗ {units.show(target.target_C - target.peak_C, 'K', system)} short",
            "computed",
        ),
        "fails",
    )


def water_rows(answer: CookAnswer, system: str, limit_pct: float | None = None) -> tuple[Row, ...]:
    """By the models alone: what evaporates, drips and leaves as fat, and what is left."""
    loss = answer.loss
    lost, given = loss.evaporated_pct, loss.released_pct is not None
    over = limit_pct is not None and lost > limit_pct
    margin = (
        ""
        if limit_pct is None
        else f"✗ {lost - limit_pct:.1f} percentage points over"
        if over
        else f"{limit_pct - lost:.1f} percentage points inside"
    )
    return (
        Row(
            (
                "evaporation, smokehouse and chill, % of the raw weight",
                f"{lost:.1f} %",
                "" if limit_pct is None else f"{limit_pct:g} % (your own)",
                margin,
                "computed",
            ),
            "fails" if over else "",
        ),
        Row(
            (
                "drip: released water beyond evaporation, % of the raw weight",
                f"{loss.drip_pct:.1f} %",
                "",
                f"{loss.released_pct:.1f} % water and solids released" if given else "not given",
                "computed; teaching model",
            )
        ),
        Row(
            (
                "fat released, % of the raw weight",
                f"{loss.fat_out_pct:.1f} %",
                "",
                "" if given else "not given",
                "computed; teaching model",
            )
        ),
        Row(
            (
                f"{YIELD} by the models, % of the raw weight",
                f"{loss.cooked_chilled_yield_pct:.1f} %",
                "",
                "" if given else "released water and fat not counted",
                "computed, good to 2 or 3 percentage points",
            )
        ),
    )


def expected_row(found: ExpectedYield) -> Row:
    """Models and usual yield together."""
    return Row(
        (
            f"expected {YIELD}, % of the raw weight",
            f"{found.pct:.1f} %",
            f"90 % interval {found.low_pct:.1f} to {found.high_pct:.1f} %",
            f"usual {found.usual.pct:.1f} ± {found.usual.sd_pct:.1f} %",
            "computed; not calibrated to a smokehouse",
        ),
        "strong",
    )


def lethal_rows(answer: CookAnswer, system: str) -> tuple[Row, ...]:
    found, rows = answer.holds, []
    if found is None:
        rows.append(
            Row(
                (
                    f"printed table for {answer.product}",
                    "none that was read covers it",
                    "",
                    "",
                    AS_RECKONED,
                )
            )
        )
    else:
        rows.append(
            Row(
                (
                    found.what,
                    f"{found.found:.2f} min",
                    f"{found.asked:.2f} min",
                    _margin(found),
                    f"{edition(found.edition, found.status)}; {AS_RECKONED}",
                ),
                "fails" if found.met is False else "",
            )
        )
    target, core = number("p_scalded_min"), number("p_scalded_core_C")
    met = answer.p70.minutes > target.value and answer.p70.peak_C > core.value
    rows.append(
        Row(
            (
                f"P70, minutes at {units.show(70, '°C', system, 0)}, a model",
                f"{answer.p70.minutes:.1f} min",
                f"> {target.value:g} min and core > {units.show(core.value, '°C', system, 0)}",
                "above both" if met else "✗ not above both",
                f"{edition(P70_EDITION, target.status)}; {AS_RECKONED}",
            ),
            "" if met else "fails",
        )
    )
    return tuple(rows)


def _margin(found: Finding) -> str:
    if found.met is None or found.margin is None:
        return "not shown"
    return f"{found.margin:.2f} min inside" if found.met else f"✗ {-found.margin:.2f} min short"


def cooling_rows(findings: Sequence[Finding]) -> tuple[Row, ...]:
    """One line per published option: its parts, minutes against the limit. All are alternatives."""
    options: dict[str, list[Finding]] = {}
    for f in findings:
        options.setdefault(f"{f.what.split(':')[0].rsplit(',', 1)[0]}|{f.edition}", []).append(f)
    rows = []
    for key, parts in options.items():
        met = (
            False
            if any(f.met is False for f in parts)
            else None
            if any(f.met is None for f in parts)
            else True
        )
        rows.append(
            Row(
                (
                    f"cooling: {key.split('|')[0]}",
                    "; ".join(
                        "not shown"
                        if f.found is None or f.met is None and f.found is not None
                        else f"{f.found:.0f} min"
                        for f in parts
                    ),
                    "; ".join(f"{f.asked:g} min" for f in parts),
                    {
                        True: "inside",
                        False: "✗ longer",
                        None: "not judged: nitrite not given"
                        if all(f.margin is not None for f in parts)
                        else "not shown to its end",
                    }[met],
                    edition(parts[0].edition, parts[0].status),
                ),
                "fails" if met is False else "",
            )
        )
    return tuple(rows)


def ahead_soft_K(cooked, below_C: float) -> float:
    """The most by which the skin runs ahead while the core is still below `below_C`, on the way up."""
    up = cooked.core_C.argmax() + 1
    soft = cooked.core_C[:up] < below_C
    return float((cooked.surface_C[:up] - cooked.core_C[:up])[soft].max()) if soft.any() else 0.0


def ahead_row(cooked, limit_K: float, system: str, name: str = "") -> Row:
    melts = number("cook_fat_melt_C")
    ahead = ahead_soft_K(cooked, melts.value)
    over = ahead > limit_K
    return Row(
        (
            f"{name}skin ahead of a core still below {units.show(melts.value, '°C', system, 0)}",
            units.show(ahead, "K", system),
            f"{units.show(limit_K, 'K', system, 0)} (your own)",
            f"✗ {units.show(ahead - limit_K, 'K', system)} over" if over else "inside",
            f"computed; that fat melts there: {melts.status_in_words}",
        ),
        "fails" if over else "",
    )


def when(minutes: float | None) -> str:
    return "never" if minutes is None else f"{minutes:.0f} min"
