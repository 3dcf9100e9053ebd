"""What is this called here? Materials, fields, choices and rules by words of the trade, in English, German or Spanish."""

from collections.abc import Iterator

from kit.errors import KitError
from kit.materials.composition import materials, offered
from kit.materials.words import plain, search
from kit.rules.rule_sets import rule_sets
from kit.sheet.entries import PARTS, fields

MOST = 12


def find(text: str) -> tuple[tuple[str, str], ...]:
    """(name, what it is) of at most twelve finds, words of the trade first. A word for a cure asks for its strength and offers nothing."""
    asked = plain(text[:200])
    if not asked:
        return ()
    try:
        words = search(text)
    except KitError as error:
        return ((text[:60], str(error)),)
    found = [
        (one.material, f"material; {one.word!r} in {one.language}{one.note and f'; {one.note}'}")
        for one in words
    ]
    found += [(name, _about(name)) for name in offered() if _holds(asked, name)]
    found += list(_fields(asked))
    found += [
        (key, f"rule set: {one}")
        for key, one in rule_sets().items()
        if _holds(asked, f"{key} {one}")
    ]
    return tuple({name: (name, what) for name, what in reversed(found)}.values())[::-1][:MOST]


def _about(name: str) -> str:
    one = materials()[name]
    return f"material of kind {one.kind}, {one.fat_pct:.3g} % fat, {one.protein_pct:.3g} % protein"


def _holds(asked: str, text: str) -> bool:
    """Every word asked for begins a word of the text."""
    words = plain(text).split()
    return all(any(word.startswith(part) for word in words) for part in asked.split())


def _fields(asked: str) -> Iterator[tuple[str, str]]:
    for part in PARTS:
        for name, field in fields(part).items():
            choices = " ".join(field.choices)
            if _holds(asked, f"{name.replace('_', ' ')} {field.meaning} {choices}"):
                offers = f"; one of: {', '.join(field.choices)}" if field.choices else ""
                unit = f", {field.unit}" if field.unit else ""
                yield name, f"field of {part}{unit}: {field.meaning}{offers}"
