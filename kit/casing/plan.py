"""How many links, and how much casing?"""

from dataclasses import dataclass
from math import ceil, floor

from kit.casing.kinds import Casing
from kit.errors import need_between
from kit.faults import need_said
from kit.materials.composition import SDS_TO_90
from kit.tables import number, value
from kit.working import Result, notes_of, working_of

DRAWN = ("twist_mm", "end_mm", "breakage_pct")
"""what more casing is drawn for"""
WHOLE = 1 + 1e-12
"""so that binary rounding makes no link less"""


@dataclass(frozen=True)
class LinkPlan(Result):
    """Links from one batch. Broken casing is stuffed again as rework: it costs casing, not batter."""

    casing: Casing
    batter_kg: float
    link_length_mm: float
    link_weight_g: float
    links: int
    """whole links"""
    left_kg: float
    """batter that does not fill another link"""
    casing_m: float
    """to draw, with twists, ends and breakage; natural casing by its table of hanks, never less"""
    casing_m_low: float
    """the same where the casing holds the most that its source gives"""
    casing_m_high: float
    strands: int | None
    """None where the length of a strand is not given, and for natural casing"""
    hanks: float | None
    """natural casing alone: hanks by the middle of the trade's table"""
    portion_sd_pct: float | None = None
    """how far the weights of single links scatter, as they are portioned; None where nobody says"""

    @property
    def one_link_g(self) -> tuple[float, float] | None:
        """Between these lie 90 of 100 links; None where nobody says how they are portioned."""
        if self.portion_sd_pct is None:
            return None
        off_g = SDS_TO_90 * self.portion_sd_pct / 100 * self.link_weight_g
        return self.link_weight_g - off_g, self.link_weight_g + off_g


def plan_links(
    batter_kg: float,
    casing: Casing,
    *,
    length_mm: float | None = None,
    weight_g: float | None = None,
    strand_m: float | None = None,
) -> LinkPlan:
    """Links of a wanted length or a wanted weight (one of the two) from a batch.

    batter_kg: batter to be stuffed, 0.001 to 1,000,000 kg
    casing: one Casing (kit.casing.kinds)
    length_mm: length of a link, 5 to 5000 mm
    weight_g: weight of a link, 1 to 50,000 g
    strand_m: length of one strand, 0.1 to 10,000 m
    Returns LinkPlan: links, g and mm each, metres and strands of casing.
    Raises OutOfRange where nothing can be made: both targets or none, a link longer than its strand.
    Valid for a link of constant diameter.
    Source: geometry and density; twists, ends and breakage are usual values of common practice (data/reference/casing.csv).
    """
    batter = need_between("batter_kg", batter_kg, 1e-3, 1e6)
    need_said((length_mm is None) != (weight_g is None), "length or weight")
    taken = [number(f"casing_{key}") for key in DRAWN]
    twist, end, broken = (row.value for row in taken)
    grams, hank = casing.g_per_m, casing.hank
    if weight_g is None:
        length = need_between("length_mm", length_mm or 0.0, 5, 5000)
        weight = grams * length / 1000
        link = "weight of a link"
    else:
        weight = need_between("weight_g", weight_g, 1, 50_000)
        length = 1000 * weight / grams
        link = "length of a link"
    check = "check the wanted length or weight against the casing"
    need_between("length of a link in mm", length, 5, 5000, check)

    def fit(link_g: float) -> int:
        return floor(batter * 1000 / link_g * WHOLE)

    def drawn(links: int, link_mm: float) -> tuple[int, float]:
        strand = None if hank else strand_m
        return _casing_m(links, (link_mm + twist) / 1000, strand, end, broken)

    count = fit(weight)
    need_said(count >= 1, "no link fills", batter=batter, weight=weight)
    strands, links_m = drawn(count, length)
    reach = []
    for fill in (casing.g_per_m_high, casing.g_per_m_low):
        # the target stays, the other one follows
        ratio = fill / grams
        one_g, mm = (weight, length / ratio) if length_mm is None else (weight * ratio, length)
        reach.append(drawn(max(fit(one_g), 1), mm)[1])
    low, high = reach
    casing_m, hanks = links_m, None
    left = max(batter - count * weight / 1000, 0.0)
    known = {"L": length, "m": weight, "n": count, "batter": batter, "left": left, "s": strands}
    known |= {"t": twist, "e": end, "b": broken, "C": links_m}
    if hank:
        by_table = (batter * hank.metres / kg for kg in (hank.high_kg, hank.middle_kg, hank.low_kg))
        low, casing_m, high = (max(metres, links_m) for metres in by_table)
        hanks = casing_m / hank.metres
        known |= {"D": casing_m, "metres": hank.metres, "kg": hank.middle_kg}
    usual = number("casing_usual_link_g")
    rows = [*taken]
    narrow = casing.diameter_mm <= value("casing_widest_frankfurter_mm")
    if narrow:
        rows.append(usual)
    notes = [
        f"{row.basis}: {row.value:g} {row.unit} assumed ({row.status_in_words})" for row in taken
    ]
    unusual = narrow and not usual.low <= weight <= usual.high
    holds = {"strand": strand_m is None and hank is None, "unusual": unusual}
    notes += notes_of("links", holds, weight=weight, low=usual.low, high=usual.high)
    return LinkPlan(
        casing,
        batter,
        length,
        weight,
        count,
        left,
        casing_m,
        low,
        high,
        None if strand_m is None or hank else strands,
        hanks,
        own_notes=tuple(notes),
        own_sources=tuple(row.cite() for row in rows),
        own_working=(
            *working_of(link, g=grams, L=length, m=weight),
            *working_of(
                "links",
                to_draw="Casing that the links alone take" if hank else "Casing to draw",
                **known,
            ),
        ),
    )


def _casing_m(
    count: int, pitch_m: float, strand_m: float | None, end_mm: float, broken_pct: float
) -> tuple[int, float]:
    """(strands opened, metres of casing) for `count` links; one strand without a strand length."""
    strands = 1
    if strand_m is not None:
        strand = need_between("strand_m", strand_m, 0.1, 1e4)
        usable = strand * (1 - broken_pct / 100) - end_mm / 1000
        per_strand = floor(usable / pitch_m * WHOLE)
        need_said(per_strand >= 1, "no link on a strand", strand=strand, link_mm=1000 * pitch_m)
        strands = ceil(count / per_strand)
    return strands, (count * pitch_m + strands * end_mm / 1000) / (1 - broken_pct / 100)
