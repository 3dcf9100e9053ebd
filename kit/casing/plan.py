"""How many links, and how much casing?"""

from dataclasses import dataclass
from math import ceil, floor

from kit.casing.geometry import FLAT, ROUND, is_round, link_length_mm, link_weight_g
from kit.casing.kinds import GEOMETRY, Casing
from kit.errors import OutOfRange, need, need_between
from kit.tables import number, value
from kit.working import Step, step


@dataclass(frozen=True)
class LinkPlan:
    """Links from one batch. Broken casing goes back as rework and is stuffed again: it costs casing, not batter."""

    casing: Casing
    batter_kg: float
    link_length_mm: float
    link_weight_g: float
    links: int
    """whole links"""
    left_kg: float
    """batter that does not fill another link"""
    stuffed_m: float
    """length of all links, without twists and ends"""
    casing_m: float
    """to draw, with twists, ends and breakage; natural casing by its table of hanks, never less than the links themselves take"""
    casing_m_low: float
    """the same where the casing holds the most that its source gives"""
    casing_m_high: float
    strands: int | None
    """None where the length of a strand is not given, and for natural casing"""
    hanks: float | None
    """natural casing alone: hanks by the middle of the trade's table"""
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]


def plan_links(
    batter_kg: float,
    casing: Casing,
    *,
    length_mm: float | None = None,
    weight_g: float | None = None,
    ends: str = FLAT,
    strand_m: float | None = None,
    twist_mm: float | None = None,
    end_mm: float | None = None,
    breakage_pct: float | None = None,
) -> LinkPlan:
    """Links of a wanted length or a wanted weight (one of the two) from `batter_kg` in `casing`.

    `ends` "round" counts rounded ends and needs a round casing. `twist_mm` per link, `end_mm` per strand, `breakage_pct` of the casing.
    OutOfRange where nothing can be made: both or neither target, a link longer than its strand.
    """
    batter = need_between("batter_kg", batter_kg, 1e-3, 1e6)
    need(
        (length_mm is None) != (weight_g is None),
        "give the wanted length_mm or the wanted weight_g of a link: one of the two",
    )
    need(
        not is_round(ends) or casing.how == GEOMETRY,
        "round ends are calculated by geometry; a weighed length already counts its ends",
    )
    rows = {
        "twist_mm": number("casing_twist_mm"),
        "end_mm": number("casing_end_mm"),
        "breakage_pct": number("casing_breakage_pct"),
    }
    given = {"twist_mm": twist_mm, "end_mm": end_mm, "breakage_pct": breakage_pct}
    twist, end, broken = (
        need_between(key, rows[key].value if given[key] is None else given[key], 0, top)
        for key, top in (("twist_mm", 500), ("end_mm", 5000), ("breakage_pct", 60))
    )
    length, weight, work = _link(casing, length_mm, weight_g, ends)
    need_between(
        "length of a link in mm",
        length,
        5,
        5000,
        "check the wanted length or weight against the casing",
    )
    count = floor(batter * 1000 / weight * (1 + 1e-12))
    if count < 1:
        raise OutOfRange(
            f"{batter:g} kg does not fill one link of {weight:.0f} g; take a smaller link or a larger batch"
        )
    hank, pitch_m = casing.hank, (length + twist) / 1000
    strands, links_m = _casing_m(count, pitch_m, None if hank else strand_m, end, broken)
    low, high = (
        _casing_m(
            max(floor(batter * 1000 / w), 1),
            (span + twist) / 1000,
            None if hank else strand_m,
            end,
            broken,
        )[1]
        for w, span in (
            _other(casing, length, weight, g_per_m, length_mm is None)
            for g_per_m in (casing.g_per_m_high, casing.g_per_m_low)
        )
    )
    left = max(batter - count * weight / 1000, 0.0)
    work = (
        *work,
        step(
            "Batter left over",
            "left = max(batter − n × m / 1000, 0)",
            left,
            "kg",
            batter=(batter, "kg"),
            n=(count, "", "whole links"),
            m=(weight, "g"),
        ),
        step(
            "Casing to draw" if hank is None else "Casing that the links alone take",
            "C = (n × (L + t) + s × e) / 1000 / (1 − b / 100)",
            links_m,
            "m",
            n=(count, "", "links"),
            L=(length, "mm"),
            t=(twist, "mm", "twist per link"),
            s=(strands or 1, "", "strands"),
            e=(end, "mm", "ends per strand"),
            b=(broken, "%", "breakage"),
        ),
    )
    casing_m, hanks = links_m, None
    if hank:
        by_table = [batter * hank.metres / kg for kg in (hank.high_kg, hank.middle_kg, hank.low_kg)]
        low, casing_m, high = (max(metres, links_m) for metres in by_table)
        hanks = casing_m / hank.metres
        work += (
            step(
                "Casing to draw: the table's hanks, never less than the links take",
                "D = max(C, batter × metres / kg)",
                casing_m,
                "m",
                C=(links_m, "m"),
                batter=(batter, "kg"),
                metres=(hank.metres, "m", "a hank"),
                kg=(hank.middle_kg, "kg", "into a hank, middle of the table"),
            ),
        )
    notes = list(casing.notes)
    taken = [rows[key] for key in rows if given[key] is None]
    notes += [
        f"{row.basis}: {row.value:g} {row.unit} taken ({row.status_in_words})" for row in taken
    ]
    if strand_m is None and hank is None:
        notes.append("one strand assumed, since the length of a strand is not given")
    usual = number("casing_usual_link_g")
    told = (usual,) if casing.diameter_mm <= value("casing_widest_frankfurter_mm") else ()
    if told and not usual.low <= weight <= usual.high:
        notes.append(
            f"a link of {weight:.0f} g lies outside {usual.low:g} to {usual.high:g} g, the published range of a usual frankfurter"
        )
    return LinkPlan(
        casing,
        batter,
        length,
        weight,
        count,
        left,
        count * length / 1000,
        casing_m,
        low,
        high,
        None if strand_m is None or hank else strands,
        hanks,
        tuple(dict.fromkeys(notes)),
        tuple(dict.fromkeys((*casing.sources, *(row.cite() for row in (*taken, *told))))),
        (*casing.working, *work),
    )


def _link(casing: Casing, length_mm, weight_g, ends):
    rho, d = casing.density_kg_per_m3, casing.diameter_mm
    if weight_g is None:
        length = need_between("length_mm", length_mm, 5, 5000)
        if ends == ROUND:
            weight = float(link_weight_g(d, length, rho, ROUND))
            return length, weight, (_round_step(weight, length, d, casing),)
        weight = casing.g_per_m * length / 1000
        return (
            length,
            weight,
            (
                step(
                    "Weight of a link",
                    "m = g × L / 1000",
                    weight,
                    "g",
                    g=(casing.g_per_m, "g/m"),
                    L=(length, "mm"),
                ),
            ),
        )
    weight = need_between("weight_g", weight_g, 1, 50_000)
    if ends == ROUND:
        length = float(link_length_mm(weight, d, rho, ROUND))
        return length, weight, (_round_step(weight, length, d, casing),)
    length = 1000 * weight / casing.g_per_m
    return (
        length,
        weight,
        (
            step(
                "Length of a link",
                "L = 1000 × m / g",
                length,
                "mm",
                m=(weight, "g"),
                g=(casing.g_per_m, "g/m"),
            ),
        ),
    )


def _round_step(weight, length, d, casing):
    return step(
        "Weight of a link with round ends",
        "m = g × (L − D / 3) / 1000",
        weight,
        "g",
        g=(casing.g_per_m, "g/m"),
        L=(length, "mm"),
        D=(d, "mm"),
    )


def _other(casing, length, weight, g_per_m, keep_weight) -> tuple[float, float]:
    """(weight, length) of a link at another filling: the target stays, the other one follows."""
    ratio = g_per_m / casing.g_per_m
    return (weight, length / ratio) if keep_weight else (weight * ratio, length)


def _casing_m(count: int, pitch_m: float, strand_m, end_mm, broken_pct) -> tuple[int, float]:
    """(strands opened, metres of casing) for `count` links; without a strand length one strand."""
    if strand_m is None:
        strands = 1
    else:
        strand = need_between("strand_m", strand_m, 0.1, 1e4)
        usable = strand * (1 - broken_pct / 100) - end_mm / 1000
        per_strand = floor(usable / pitch_m * (1 + 1e-12))
        if per_strand < 1:
            raise OutOfRange(
                f"a strand of {strand:g} m holds no link of {1000 * pitch_m:.0f} mm after ends and breakage; "
                "take a shorter link or a longer strand"
            )
        strands = ceil(count / per_strand)
    return strands, (count * pitch_m + strands * end_mm / 1000) / (1 - broken_pct / 100)
