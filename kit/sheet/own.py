"""What is this line made of: a row of the list, or the person's own material?"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace

from kit.errors import KitError, UnknownName, UnknownStrength, attempt, need
from kit.faults import need_said
from kit.materials import Material, by_lab, material
from kit.materials.composition import PARTS
from kit.materials.given import by_eye, by_lean_ratio

_LAB = tuple(f"{part}_pct" for part in PARTS)
_IN_CARBOHYDRATE = ("starch_pct", "fibre_pct")
_NEEDED_LAB = ("moisture_pct", "protein_pct", "fat_pct")
_WAYS = {
    "lean": ("lean",),
    "eye": ("fat_low_pct", "fat_high_pct"),
    "lab": (*_LAB, "salt_pct"),
    "recipe": ("composition",),
    "list": ("material",),
}
_LABEL = ("nitrite_pct", "nitrate_pct")
_KIND = {"lean": "meat", "eye": "meat", "recipe": "rework"}
_CURE_NAME = re.compile(r"\b(?:celery|vegetable juice)\b", re.I)


def way(given: Mapping) -> str:
    """How the line says what it is made of: 'lean', 'eye', 'lab', 'recipe', or 'list'. OutOfRange if it says two things."""
    said = [name for name, names in _WAYS.items() if any(field in given for field in names)]
    # a doubt may stand beside a lean ratio or laboratory values; it is then a uncertainty of those
    if len(said) > 1 and "eye" in said and not {"recipe", "list"} & set(said):
        said.remove("eye")
    written = ", ".join(field for w in said for field in _WAYS[w] if field in given)
    need_said(len(said) <= 1, "two ways", count=len(said), written=written)
    if said:
        return said[0]
    return "label" if any(field in given for field in _LABEL) else "list"


def blamed(given: Mapping) -> str:
    """The field that a fault about the composition is reported at."""
    how, _ = attempt(lambda: way(given))
    told = (*_WAYS.get(how, ()), *_LABEL) if how else ()
    return next((field for field in told if field in given), "name")


def find(name: str, kind: str, given: Mapping) -> tuple[str, Material | None]:
    """Kind and material of a line; the material is None for rework of the same recipe, which waits for the other lines.

    Raises KitError (UnknownName with the nearest three, OutOfRange for a composition that cannot be).
    """
    how = way(given)
    if how == "recipe":
        need_said(kind in ("", "rework"), "recipe of another kind", kind=kind)
        return "rework", None
    if how in ("list", "label"):
        listed = _listed(str(given.get("material", name)), how, kind)
        if listed:
            species, held = given.get("species", listed.species), listed.species or "of no species"
            at = {"listed": listed, "kind": kind, "species": species, "held": held}
            need_said(kind in ("", listed.kind), "listed as another kind", **at)
            need_said(species == listed.species, "listed as another species", **at)
            _check_strength(listed, given)
            return listed.kind, _adjusted(listed, given)
        need_said(kind in ("", "cure"), "label of another kind", kind=kind)
        return "cure", _premix(name, given)
    kind = kind or _KIND.get(how) or ("meat" if "species" in given else "")
    need_said(bool(kind), "own without kind")
    return kind, _own(name, kind, given, how)


def _listed(name: str, how: str, kind: str = "") -> Material | None:
    try:
        return material(name)
    except KitError as unknown:
        if how == "label":
            return None
        need(isinstance(unknown, UnknownName), str(unknown), UnknownStrength)
        may_cure = kind == "cure" or _CURE_NAME.search(name)
        need_said(not may_cure, "strength not written", line=name)
        raise


def _own(name: str, kind: str, given: Mapping, how: str) -> Material:
    species, low, high = (given.get(key) for key in ("species", "fat_low_pct", "fat_high_pct"))
    species = species or ""
    need_said(bool(species) or kind != "meat", "own without species")
    need_said((low is None) == (high is None), "one bound of fat")
    need_said(kind == "meat" or how not in ("lean", "eye"), "eye of another kind", kind=kind)
    if how == "lean":
        made = replace(by_lean_ratio(given["lean"], species, low, high), name=name.lower())
    elif how == "eye":
        made = by_eye(name, species, given["fat_low_pct"], given["fat_high_pct"])
    else:
        missing = ", ".join(field for field in _NEEDED_LAB if field not in given)
        need_said(not missing, "half a laboratory", missing=missing)
        made = by_lab(
            name,
            species,
            given["moisture_pct"],
            given["protein_pct"],
            given["fat_pct"],
            given.get("ash_pct"),
            given.get("carbohydrate_pct", sum(given.get(key, 0.0) for key in _IN_CARBOHYDRATE)),
            kind=kind,
            salt_pct=given.get("salt_pct", 0.0),
            fat_low_pct=low,
            fat_high_pct=high,
        )
    return _adjusted(made, given)


def _adjusted(made: Material, given: Mapping) -> Material:
    keys = ("rule_class", "collagen_pct_of_protein", *_IN_CARBOHYDRATE)
    return replace(made, **{key: given[key] for key in keys if key in given})


def _check_strength(listed: Material, given: Mapping) -> None:
    """A listed cure is salt and its salts of curing; a label that says another strength is another cure."""
    label = given.get("nitrite_pct", 0.0) + given.get("nitrate_pct", 0.0)
    held = 100 - listed.salt_pct
    alike = listed.kind != "cure" or not label or abs(label - held) < 0.01
    need_said(alike, "label against list", label=label, listed=listed, held=held)


def _premix(name: str, given: Mapping) -> Material:
    """A cure by its label: what is not nitrite or nitrate is taken as salt."""
    strength = given.get("nitrite_pct", 0.0) + given.get("nitrate_pct", 0.0)
    need_said(strength <= 100, "label over 100", strength=strength)
    shares = dict.fromkeys(_LAB, 0.0) | {"ash_pct": 100.0, "salt_pct": 100.0 - strength}
    note = "What the label does not call nitrite or nitrate is taken as salt"
    return Material(name.lower(), "cure", "", "cure", **shares, note=note)


def same_recipe(name: str, parts: Sequence[Material], kg: Sequence[float]) -> Material:
    """Rework made of the other lines of the sheet, in their shares, raw and nothing lost."""
    total = sum(kg)
    need_said(total > 0, "recipe of nothing")
    mean = {
        f"{part}_pct": sum(getattr(m, f"{part}_pct") * x for m, x in zip(parts, kg)) / total
        for part in (*PARTS, "salt")
    }
    protein = sum(m.protein_pct * x for m, x in zip(parts, kg))
    collagen = None
    if protein and all(m.collagen_pct_of_protein is not None for m in parts if m.protein_pct > 0):
        lean = [(m.collagen_pct_of_protein or 0.0, m.protein_pct * x) for m, x in zip(parts, kg)]
        collagen = sum(share * mass for share, mass in lean if mass > 0) / protein
    return Material(
        name.lower(),
        "rework",
        "",
        "rework",
        **mean,
        collagen_pct_of_protein=collagen,
        note="Same recipe: the mean of the other lines, raw; their uncertainty of fat is not carried into it",
    )
