"""The outcome table and the one sentence, shared by every panel that judges a mix."""

from kit import allergens, units
from kit.chain import Followed
from kit.chain.emulsion import collagen_of
from kit.lab.panels.view import Row, Table, row
from kit.materials import material
from kit.rules.verdicts import CAUTION

FAT = "pork backfat"
COLUMNS = ("quantity", "value", "limit", "margin", "source")


def outcome_table(followed: Followed, system: str) -> Table:
    """Composition of the mix: each rule with value, limit, margin and source, then the ice that may still be added."""
    end = followed.finished
    rows = [_judged(v) for v in followed.verdicts if _touched(v)]
    if untouched := [v.limit.title for v in followed.verdicts if not _touched(v)]:
        rows.append(row(f"none in this mix: {', '.join(untouched)}", "0", "", "", "as above"))
    pct, assumed = collagen_of(followed.sheet)  # as the emulsion model takes it
    collagen = "no meat protein" if pct != pct else f"{pct:.0f}"
    said = f"assumed: {'; '.join(assumed)}" if assumed else ""
    rows += [
        *_uncertainty_rows(followed),
        row("moisture : protein", f"{end.moisture_to_protein:.2f}", "", "", "computed"),
        row("collagen, % of the meat protein", collagen, "", said, "common practice"),
        row("fat and protein by species, % of finished product", _species(end), "", "", "computed"),
        row("salt, % of finished product", f"{end.salt_pct:.2f}", "", "", "computed"),
    ]
    if followed.rules:
        before, after = followed.room_for(material("ice"))
        binder, cooked = _binder(followed), f"at {followed.cook_yield.pct:.1f} % cook yield"
        for what, room in (
            ("ice that may be added, without cook loss", before),
            (f"ice that may be added, {cooked}", after),
            (f"{binder.name} that may be added, {cooked}", followed.room_for(binder)[1]),
        ):
            limit = room.first.title if room.first else ""
            mark = "fails" if room.most_kg < 0 and room is after else ""
            rows.append(row(what, _kg(room.most_kg, system), limit, "", "calculated", mark=mark))
    return Table(f"Outcome: {followed.rules or 'no rule chosen'}", COLUMNS, tuple(rows))


def _judged(v) -> Row:
    margin = f"{v.margin:.2f}" if v.holds else f"✗ {outside(v)}"
    cells = (
        f"{v.limit.title}, {v.limit.unit or 'index'} {v.limit.basis}",
        "not known" if v.value is None else f"{v.value:.2f}",
        f"{v.limit.comparison_in_words} {v.limit.limit:g}",
        "not judged" if v.margin is None else margin,
        _place(v.limit) + ("" if v.limit.status == "read" else f" ({v.limit.status})"),
    )
    return row(*cells, mark="fails" if v.holds is False else "")


def _place(limit) -> str:
    return f"{limit.where}, edition {limit.edition}"


def _limit_on(followed: Followed, quantity: str):
    return next((v.limit for v in followed.verdicts if v.limit.quantity == quantity), None)


def _uncertainty_rows(followed: Followed):
    """The uncertainty of fat, and the chance that it is over its limit."""
    fat, limit = followed.fat, _limit_on(followed, "fat_pct_of_finished")
    if not fat.sd_pct:
        return
    span = f"{fat.low_pct:.1f} to {fat.high_pct:.1f} %"
    yield row(
        "fat, 90 % interval", span, "", "", "uncertainty given on the sheet, normal distribution"
    )
    if limit:
        over = chance(fat.chance_over(limit.limit))
        what = f"probability of fat over {limit.limit:g} %"
        yield row(what, over, "", "", "exact for a linear mix")


def room_table(followed: Followed, system: str) -> Table:
    """How much ice, binder and fat may be added before each limit, without cook loss and after the cook. Calculated when opened."""
    asked = (material("ice"), _binder(followed), material(FAT))

    def fill():
        rooms = [left.rooms for m in asked for left in followed.room_for(m)]
        return tuple(
            row(limit.title, *(_kg(room[n].most_kg, system) for room in rooms), _place(limit))
            for n, limit in enumerate(followed.rules.limits)
        )

    whens = ("without cook loss", "after the cook")
    names = [f"{m.name}, {when}" for m in asked for when in whens]
    caption = "Amounts that may be added before each limit: ice, binder, fat"
    return Table(caption, ("limit", *names, "source"), folded=True, later=fill)


def _binder(followed: Followed):
    lines = followed.sheet.of_kind("binder")
    return lines[0].material if lines else material("nonfat dry milk")


def _kg(kg: float, system: str) -> str:
    if kg != kg:
        return "no amount meets it"
    if kg == float("inf"):
        return "no limit"
    return units.show(kg, "kg", system) if kg >= 0 else f"remove {units.show(-kg, 'kg', system)}"


def uncertainty_tables(followed: Followed, system: str) -> tuple[Table, ...]:
    """What the uncertainty of fat does to the sum of fat and added water, and to moisture : protein; none where nothing is uncertain. Calculated when opened."""
    if not followed.fat.sd_pct:
        return ()

    def fill():
        found = followed.spread
        limit = _limit_on(followed, "fat_and_added_water_pct_of_finished")
        low, high = found.moisture_to_protein
        rows = [("moisture : protein, 90 % interval", f"{low:.2f} to {high:.2f}")]
        if limit:
            low, high = found.fat_and_added_water_pct
            over = chance(found.chance_over(limit.limit))
            rows += [
                ("fat + added water, 90 % interval", f"{low:.1f} to {high:.1f} %"),
                (f"probability of fat + added water over {limit.limit:g} %", over),
            ]
        return tuple(row(*cells, f"Monte Carlo, {found.draws:,} samples") for cells in rows)

    caption = "Effect of the uncertainty of fat"
    return (Table(caption, ("quantity", "value", "source"), folded=True, later=fill),)


def outcome_sentence(followed: Followed) -> str:
    """What the picture says: the rule that decides, and by how much."""
    end = followed.finished
    start = f"Finished product: {end.fat_pct:.1f} % fat, {end.water_pct:.1f} % water, {end.protein_pct:.1f} % protein"
    if not followed.rules:
        return f"{start}. No rule is chosen, so no limit is checked."
    if broken := followed.broken:
        v = max(broken, key=lambda v: -v.margin / v.limit.limit)
        many = "s" if len(broken) > 1 else ""
        limit = v.limit.amount
        return f"{start}. {len(broken)} limit{many} not met: {v.limit.title} {v.value:.1f}, {limit}, {outside(v)}."
    v = followed.tightest
    limit = v.limit.amount
    return f"{start}. Every limit of this rule is met; smallest margin: {v.limit.title} {v.value:.2f}, {limit}, margin {v.margin:.2f}."


def outside(v) -> str:
    """'4.5 percentage points over', '0.3 below the minimum'."""
    size = f"{-(v.margin or 0):.1f}{' percentage points' if v.limit.unit == '%' else ''}"
    return f"{size} {'over' if v.limit.comparison == 'max' else 'below the minimum'}"


def chance(p: float) -> str:
    """A probability in percent."""
    if p < 0.001:
        return "below 0.1 %"
    return "above 99.9 %" if p > 0.999 else f"{100 * p:.1f} %"


def cautions(names) -> tuple[str, ...]:
    """Of a page that judges a mix of these ingredients, or offers them."""
    return CAUTION, allergens.caution(names)


def _species(end) -> str:
    """'fat: pork 22.1, beef 1.9 %; protein: ...' of the finished product, largest first; protein of binders and spices as 'other'."""

    def share(kg_by):
        found = sorted(((kg, name) for name, kg in kg_by.items() if kg > 1e-9), reverse=True)
        return ", ".join(
            f"{'other' if name == 'unassigned' else name} {100 * kg / end.total_kg:.1f}"
            for kg, name in found
        )

    return f"fat: {share(end.fat_by_species_kg)} %; protein: {share(end.protein_by_species_kg)} %"


def _touched(v) -> bool:
    return v.value is None or v.holds is False or abs(v.value) > 1e-9
