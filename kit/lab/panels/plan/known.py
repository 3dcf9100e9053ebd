"""What is known of an ingredient, as one line of text: '15 to 25 % fat', '80/20', '6.25 % nitrite', 'as pork trim 50; 2 °C'."""

import re
from collections.abc import Mapping

from kit.materials.composition import PARTS, SPECIES, materials
from kit.materials.words import cure_word, plain, search
from kit.sheet.entries import fields
from kit.tables import value

HELP = (
    "Fat by eye as '15 to 25 %' or 'about 20 %'; a lean ratio as '80/20' or '90CL'; a laboratory's 'moisture 60; protein 17; fat 22'; a cure's label as "
    "'6.25 % nitrite'; another name in the list of materials as 'as pork trim 50'; a compound; a species. Several, with semicolons between."
)
COLUMNS = ("name", "amount", "price_per_kg", "temperature_C")
"""fields of a line with a column of their own; everything else is told here"""
_N = r"(\d+(?:[.,]\d+)?)"
_LEAN = re.compile(r"\d+\s*/\s*\d+|\d+\s*CL|\d+\s*%\s*lean", re.I)
_RANGE = re.compile(rf"{_N}\s*(?:to|bis|a|-|–)\s*{_N}\s*%?(?:\s*fat)?", re.I)
_ONE = re.compile(rf"(?:about|circa|ca\.?|~|≈)?\s*{_N}\s*%?(?:\s*fat)?", re.I)
_SALTS = re.compile(rf"{_N}\s*%\s*(?:sodium\s+)?(nitrite|nitrate)", re.I)
_LAB = re.compile(rf"({'|'.join(PARTS)}|salt|starch|fibre)\s*[:=]?\s*{_N}\s*%?", re.I)
_FIELD = re.compile(r"([A-Za-z_]+)\s*=\s*(.+)")
_TOLD_AS = {"material": "as {}", "lean": "{}", "species": "{}", "kind": "{}"}
_TOLD_AS |= {"nitrite_pct": "{} % nitrite", "nitrate_pct": "{} % nitrate"}
_TOLD_AS |= {"form": "{}", "composition": "{}"}
"""fields that are told without their name"""


def unfolded(row: Mapping[str, str]) -> dict[str, str]:
    """A row of the form as the fields of a line. A fact that is not understood goes in as `material`, where the reader says so."""
    found = {name: text for name, text in row.items() if name != "known"}
    for fact in filter(None, (part.strip() for part in row.get("known", "").split(";"))):
        pieces = [_fact(piece.strip(), found) for piece in re.split(r",(?!\d)", fact)]
        several = [piece for piece in pieces if piece]
        whole = _fact(fact, found)
        if whole is None and len(several) == len(pieces):
            for piece in several:
                found |= piece
        else:
            found |= whole or {"material": fact}
    if set(found) <= set(COLUMNS):
        found |= _by_word(found.get("name", ""))
    own_meat = {"lean", "fat_low_pct", "moisture_pct"} & set(found)
    if own_meat and "species" not in found and found.get("kind", "meat") == "meat":
        named = re.findall(r"[a-z]+", found.get("name", "").casefold())
        species = next((one for one in SPECIES if one in named), "")
        found |= {"species": species} if species else {}
    if own_meat and "moisture_pct" in found and "species" in found:
        found.setdefault("kind", "meat")
    return found


def _by_word(name: str) -> dict[str, str]:
    """The material of a name that is, as a whole, a word of the trade; a word for a cure stays as it is, and is asked about."""
    if cure_word(name) or name.casefold() in materials():
        return {}
    meant = {one.material for one in search(name) if plain(one.word) == plain(name)}
    return {"material": meant.pop()} if len(meant) == 1 else {}


def _fact(fact: str, row: Mapping[str, str]) -> dict[str, str] | None:
    """The fields of one fact; None where it is not understood."""
    said = fact.casefold()
    if said.startswith("as "):
        return {"material": fact[3:].strip()}
    for name in ("species", "kind", "composition", "form"):
        if said in fields("line")[name].choices:
            return {name: said}
    if _LEAN.fullmatch(fact):
        return {"lean": fact}
    if hit := _SALTS.fullmatch(fact):
        return {f"{hit[2].lower()}_pct": hit[1]}
    if hit := _LAB.fullmatch(fact):
        return {f"{hit[1].lower()}_pct": hit[2]}
    if hit := _FIELD.fullmatch(fact):
        return {hit[1]: hit[2]}
    if hit := _RANGE.fullmatch(fact):
        return {"fat_low_pct": hit[1], "fat_high_pct": hit[2]}
    if hit := _ONE.fullmatch(fact):
        if row.get("kind") == "cure" or cure_word(row.get("name", "")):
            return {"nitrite_pct": hit[1]}
        middle, off = float(hit[1].replace(",", ".")), value("plan_by_eye_points")
        return {
            "fat_low_pct": f"{max(middle - off, 0):g}",
            "fat_high_pct": f"{min(middle + off, 100):g}",
        }
    return None


def folded(line: Mapping[str, str]) -> dict[str, str]:
    """The fields of a line as a row of the form: `unfolded` it gives the same fields."""
    row = {name: line[name] for name in COLUMNS if name in line}
    rest = {name: text for name, text in line.items() if name not in COLUMNS}
    says_kind = {"lean", "fat_low_pct", "nitrite_pct", "nitrate_pct", "composition"} & set(rest)
    if says_kind or rest.get("material", line.get("name", "")).casefold() in materials():
        rest.pop("kind", None)  # the reader finds it again
    untold = {name: text for name, text in rest.items() if ";" in text or "\n" in text}
    told, facts = {name: text for name, text in rest.items() if name not in untold}, []
    if {"fat_low_pct", "fat_high_pct"} <= set(told):
        facts.append(f"{told.pop('fat_low_pct')} to {told.pop('fat_high_pct')} % fat")
    facts += [form.format(told.pop(name)) for name, form in _TOLD_AS.items() if name in told]
    facts += [f"{name} = {text}" for name, text in told.items()]
    return row | ({"known": "; ".join(facts)} if facts else {}) | untold
