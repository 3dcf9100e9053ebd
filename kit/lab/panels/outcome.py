"""The outcome table and the one sentence, shared by every panel that judges a mix."""

from kit import allergens, units
from kit.chain import Followed
from kit.chain.emulsion import collagen_of
from kit.lab.panels.view import Row, Table
from kit.materials import material
from kit.rules import CAUTION

FAT = "pork backfat"
COLUMNS = ("what", "value", "limit", "margin", "source")


def outcome_table(followed: Followed, system: str) -> Table:
    """What the mix comes to, each rule with value, limit, margin and source, then the room left for ice."""
    end, fat = followed.finished, followed.fat
    rows = [
        Row(
            (
                f"{v.rule.title}, {v.rule.unit or 'index'} {v.rule.basis}",
                _value(v),
                f"{v.rule.comparison} {v.limit:g}",
                _margin(v),
                _source(v),
            ),
            "fails" if v.holds is False else "",
        )
        for v in followed.verdicts
        if _touched(v)
    ]
    untouched = [v.rule.title for v in followed.verdicts if not _touched(v)]
    if untouched:
        rows.append(Row((f"none in this mix: {', '.join(untouched)}", "0", "", "", "as above")))
    if fat.sd_pct:
        rows.append(
            Row(
                (
                    "fat, 90 % of the doubt",
                    f"{fat.low_pct:.1f} to {fat.high_pct:.1f} %",
                    "",
                    "",
                    "doubt given on the sheet, normal",
                )
            )
        )
        limit = next(
            (v for v in followed.verdicts if v.rule.quantity == "fat_pct_of_finished"), None
        )
        if limit:
            rows.append(
                Row(
                    (
                        f"chance that fat is over {limit.limit:g} %",
                        chance(fat.chance_over(limit.limit)),
                        "",
                        "",
                        "exact for a linear mix",
                    )
                )
            )
    rows += [
        Row(("moisture : protein", f"{end.moisture_to_protein:.2f}", "", "", "computed")),
        _collagen(followed),
        Row(("fat and protein by species", _species(end), "", "", "computed")),
        Row(("salt, % of the finished product", f"{end.salt_pct:.2f}", "", "", "computed")),
    ]
    if followed.room_for_ice:
        before, after = followed.room_for_ice
        rows += [
            _room("room left for ice if nothing cooked off", before, system, False),
            _room(
                f"room left for ice, at {followed.cook_yield.pct:.1f} % cook yield",
                after,
                system,
                True,
            ),
        ]
        binder = _binder(followed)
        rows.append(
            _room(
                f"room left for {binder.name}, at {followed.cook_yield.pct:.1f} % cook yield",
                followed.room_for(binder)[1],
                system,
                False,
            )
        )
    return Table(f"Outcome: {followed.rules or 'no rule chosen'}", COLUMNS, tuple(rows))


def room_table(followed: Followed, system: str) -> Table:
    """How much ice, binder and fat may still go in before each limit: if nothing cooked off, and after the cook. Reckoned when opened."""

    def fill():
        asked = [followed.room_for(m) for m in (material("ice"), _binder(followed), material(FAT))]
        cells = [
            [_kg(room.most_kg, system) for room in left.rooms] for pair in asked for left in pair
        ]
        return tuple(
            Row(
                (
                    rule.title,
                    *(column[n] for column in cells),
                    f"{rule.where}, edition {rule.edition}",
                )
            )
            for n, rule in enumerate(followed.rules.rules)
        )

    names = [
        name
        for m in ("ice", _binder(followed).name, FAT)
        for name in (f"{m}, nothing cooked off", f"{m}, after the cook")
    ]
    return Table(
        "Room left before each limit: ice, binder, fat",
        ("limit", *names, "source"),
        folded=True,
        later=fill,
    )


def _collagen(followed: Followed) -> Row:
    """The share that the emulsion model takes, with what it assumes where no figure is published."""
    pct, assumed = collagen_of(followed.sheet)
    return Row(
        (
            "collagen, % of the meat protein",
            "no meat protein" if pct != pct else f"{pct:.0f}",
            "",
            f"assumed: {'; '.join(assumed)}" if assumed else "",
            "common practice",
        )
    )


def _binder(followed: Followed):
    lines = followed.sheet.of_kind("binder")
    return lines[0].material if lines else material("nonfat dry milk")


def _kg(kg: float, system: str) -> str:
    if kg != kg:
        return "no amount does it"
    if kg == float("inf"):
        return "no limit"
    return units.show(kg, "kg", system) if kg >= 0 else f"take out {units.show(-kg, 'kg', system)}"


def doubt_tables(followed: Followed, system: str) -> tuple[Table, ...]:
    """What the doubt about fat does to the sum of fat and added water, and to moisture : protein; none where nothing is in doubt. Reckoned when opened."""

    def fill():
        found = followed.spread
        source = f"cloud of {found.draws:,} draws"
        rows = [
            Row(
                (
                    "moisture : protein, 90 % of the doubt",
                    f"{found.moisture_to_protein[0]:.2f} to {found.moisture_to_protein[1]:.2f}",
                    source,
                )
            )
        ]
        limit = next(
            (
                v
                for v in followed.verdicts
                if v.rule.quantity == "fat_and_added_water_pct_of_finished"
            ),
            None,
        )
        if limit:
            low, high = found.fat_and_added_water_pct
            rows += [
                Row(("fat + added water, 90 % of the doubt", f"{low:.1f} to {high:.1f} %", source)),
                Row(
                    (
                        f"chance that fat + added water is over {limit.limit:g} %",
                        chance(found.chance_over(limit.limit)),
                        source,
                    )
                ),
            ]
        return tuple(rows)

    return (
        (
            Table(
                "What the doubt about fat does to the rest",
                ("what", "value", "source"),
                folded=True,
                later=fill,
            ),
        )
        if followed.fat.sd_pct
        else ()
    )


def outcome_sentence(followed: Followed) -> str:
    """What the picture says: the rule that decides, and by how much."""
    end = followed.finished
    start = f"Finished, this mix holds {end.fat_pct:.1f} % fat, {end.water_pct:.1f} % water and {end.protein_pct:.1f} % protein"
    if not followed.rules:
        return f"{start}; no rule is chosen, so nothing is judged."
    if followed.broken:
        v = max(followed.broken, key=lambda v: -v.margin / v.limit)
        return f"{start}. It breaks {len(followed.broken)} limit{'s' if len(followed.broken) > 1 else ''}: {v.rule.title} is {v.value:.1f}, {-v.margin:.1f} {v.unit or 'points'} over {v.limit:g}."
    v = followed.tightest
    return f"{start}. Every limit holds; the nearest is {v.rule.title}: {v.value:.2f} of {v.limit:g}{' ' + v.unit if v.unit else ''}, {v.margin:.2f} to spare."


def chance(p: float) -> str:
    if p < 0.001:
        return "under 0.1 %"
    return "over 99.9 %" if p > 0.999 else f"{100 * p:.1f} %"


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


def _value(v) -> str:
    return "not known" if v.value is None else f"{v.value:.2f}"


def _margin(v) -> str:
    return (
        "not judged"
        if v.margin is None
        else f"{v.margin:.2f} inside"
        if v.holds
        else f"✗ {-v.margin:.2f} over"
    )


def _source(v) -> str:
    return f"{v.rule.where}, edition {v.rule.edition}" + (
        "" if v.status == "read" else f" ({v.status})"
    )


def _room(what, room, system, decides) -> Row:
    kg = room.most_kg
    if kg == float("inf"):
        return Row((what, "no limit", "", "", "worked out"))
    words = units.show(abs(kg), "kg", system)
    limit = room.first.title if room.first else ""
    return Row(
        (what, words if kg >= 0 else f"take out {words}", limit, "", "worked out"),
        "fails" if kg < 0 and decides else "",
    )
