"""What is a person's own meat made of, by its lean ratio, by laboratory values or by eye?"""

import re
from dataclasses import replace

from kit.errors import OutOfRange, need_between
from kit.faults import need_said
from kit.materials.composition import Material, lean_line
from kit.tables import number, value


def by_lean_ratio(
    text: str, species: str, fat_low_pct: float | None = None, fat_high_pct: float | None = None
) -> Material:
    """Meat sold by its lean share: '80/20', '80:20', '90CL', '90 CL', '85 % lean'. Composition from the species' lean line.

    The trade counts everything that is not fat as lean ('chemical lean'), so fat is 100 less the lean figure.
    """
    lean = parse_lean(text)
    name = f"{species} {lean:g}/{100 - lean:g}"
    made = _on_line(name, species, 100 - lean, fat_low_pct, fat_high_pct)
    return replace(made, note="; ".join(filter(None, (f"Lean ratio {text.strip()!r}", made.note))))


def by_lab(
    name: str,
    species: str,
    moisture_pct: float,
    protein_pct: float,
    fat_pct: float,
    ash_pct: float | None = None,
    carbohydrate_pct: float = 0.0,
    *,
    kind: str = "meat",
    rule_class: str | None = None,
    salt_pct: float = 0.0,
    collagen_pct_of_protein: float | None = None,
    fat_low_pct: float | None = None,
    fat_high_pct: float | None = None,
) -> Material:
    """A material by its laboratory values.

    name: what it is called
    species: one of kit.materials.composition.SPECIES, or '' for none
    moisture_pct: 0 to 100 %
    protein_pct: 0 to 100 %
    fat_pct: 0 to 100 %
    ash_pct: 0 to 100 %; from the species' lean line where left out
    carbohydrate_pct: 0 to 100 %
    kind: what it does in the bowl, of kit.materials.composition.KINDS
    rule_class: a row of data/rules/classes.csv; the kind's usual one where left out
    salt_pct: salt contained in the ash, %
    collagen_pct_of_protein: 0 to 100 %; unknown where left out
    fat_low_pct: lower end of the 90 % interval of the fat, %
    fat_high_pct: upper end of the 90 % interval of the fat, %
    Returns Material.
    Raises OutOfRange for shares that add up to more than 100 %; UnknownName for a species, kind or class.
    Source: the person's laboratory; the lean line is a fit to data/materials.csv.
    """
    notes = []
    if ash_pct is None:
        need_between(f"fat of {name} in percent", fat_pct, 0, 100)
        ash_pct = max(lean_line(species).pct("ash", fat_pct), 0.0) if species else 0.0
        how = "taken from the lean line" if species else "counted with the unaccounted part"
        notes.append(f"Ash was not measured; {how}")
    made = Material(
        name.strip().lower(),
        kind,
        species,
        rule_class or _usual_rule_class(kind, species),
        moisture_pct,
        protein_pct,
        fat_pct,
        ash_pct,
        carbohydrate_pct,
        salt_pct,
        collagen_pct_of_protein,
        fat_low_pct=fat_low_pct,
        fat_high_pct=fat_high_pct,
    )
    low, high = value("composition_sum_usual_low"), value("composition_sum_usual_high")
    total = 100 - made.unaccounted_pct
    if not low <= total <= high:
        usual = f"published meats lie between {low:g} and {high:g} %"
        notes.append(f"The parts add up to {total:.1f} %; {usual}")
    return replace(made, note="; ".join(notes))


def by_eye(name: str, species: str, fat_low_pct: float, fat_high_pct: float) -> Material:
    """A meat judged by eye: fat somewhere between two bounds (read as the central 90 %). The middle stands on the lean line."""
    low = need_between(f"lower fat of {name} in percent", fat_low_pct, 0, 100)
    high = need_between(f"upper fat of {name} in percent", fat_high_pct, 0, 100)
    need_said(low < high, "bounds of fat", name=name, low=low, high=high)
    return _on_line(name.strip().lower(), species, (low + high) / 2, low, high)


def parse_lean(text: str) -> float:
    """Lean percent from '80/20', '80:20', '90CL', '90 CL', '85 % lean' or '85% lean'. Anything else is refused."""
    written = str(text).strip()
    figure = r"(\d{1,3}(?:\.\d+)?)"
    pair = re.fullmatch(rf"{figure}\s*[/:]\s*{figure}", written)
    single = re.fullmatch(rf"{figure}\s*(?:CL|%\s*lean)", written, re.I)
    if pair:
        lean, fat = float(pair[1]), float(pair[2])
        need_said(abs(lean + fat - 100) < 1e-9, "lean ratio", written=written, total=lean + fat)
    elif single:
        lean = float(single[1])
    else:
        forms = "'80/20', '80:20', '90CL', '90 CL' or '85 % lean'"
        raise OutOfRange(f"lean ratio {written!r} cannot be read; write {forms}")
    return need_between(f"lean share in {written!r}, percent", lean, 0, 100)


def _on_line(name, species, fat_pct, fat_low_pct, fat_high_pct) -> Material:
    line = lean_line(species)
    top = fat_pct if fat_high_pct is None else fat_high_pct
    need_said(top <= line.fat_limit_pct, "beyond the lean line", name=name, top=top, line=line)
    origin = number(f"lean_line_{species}_moisture_at_no_fat")
    return Material(
        name,
        "meat",
        species,
        _usual_rule_class("meat", species),
        line.pct("moisture", fat_pct),
        line.pct("protein", fat_pct),
        float(fat_pct),
        line.pct("ash", fat_pct),
        0.0,
        fat_low_pct=fat_low_pct,
        fat_high_pct=fat_high_pct,
        source=origin.source,
        where=f"{species} lean line, {origin.where}",
        status=origin.status,
        note=line.note(fat_pct if fat_low_pct is None else fat_low_pct, top),
    )


def _usual_rule_class(kind: str, species: str) -> str:
    if kind == "meat":
        return "poultry" if species in ("chicken", "turkey") else "meat"
    return {"ice": "water"}.get(kind, kind)
