"""What limits did a person write? A TOML file becomes a rule set; every fault is found before any is raised."""

import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import replace
from datetime import date, datetime
from functools import partial
from math import inf

from kit import tables
from kit.errors import nearest
from kit.faults import Cell, Faults, blank
from kit.meat_block.quantities import quantities
from kit.reading import opener
from kit.reading.shapes import FileLimits
from kit.rules.limits import BASES, COMPARISONS, PER_MILLION, QUANTITIES, forms_of
from kit.rules.rule_sets import RuleSet, rule_sets, sets_of

_SET = "key title jurisdiction product_kind edition date_from date_to note"
_LIMIT = "quantity title comparison limit unit basis as_salt source where status note"
_SET_KEYS, _LIMIT_KEYS = tuple(_SET.split()), tuple(_LIMIT.split())
_SET_NAMES = {"key": "rule_set", "title": "set_title", "note": "set_note"}
"""a key of the table rule_set -> its column in the kit's own tables of rules, where that is another"""
_REQUIRED_OF_SET = ("key", "jurisdiction", "product_kind", "edition", "date_from")
_REQUIRED = ("quantity", "comparison", "limit", "source", "status")
_SIGNS = {"<=": "max", "≤": "max", "<": "below", ">=": "min", "≥": "min", ">": "above"}
_SAID = {sign: COMPARISONS[key] for sign, key in _SIGNS.items()} | {
    words: words for words in COMPARISONS.values()
}
_DATE = re.compile(r"\d{4}(-\d{2}(-\d{2})?)?$")
_FILE = FileLimits((".toml",), 200_000, "keep one file for each kind of product")
_REMEDIES = {
    "comparison": f"write one of: {', '.join(COMPARISONS.values())}",
    "status": "say how you know it; write one of: "
    + ", ".join(f"{key} ({words})" for key, words in tables.STATUSES.items()),
    "date_from": "write a year, a month or a day: 2024, 2024-07 or 2024-07-01",
    "source": "name where the rule is written",
    "quantity": "write a name from kit.meat_block.quantities or kit.rules.limits.QUANTITIES",
}


def read_rule_set(source) -> RuleSet:
    """A rule set that a person wrote.

        [rule_set]
        key = "somewhere_frankfurter"
        title = "Frankfurter of somewhere"
        jurisdiction = "Somewhere"
        product_kind = "frankfurter"
        edition = "2024"
        date_from = "2024-01-01"            # a year, a month or a day
        source = "Food code of somewhere"   # in your own words, for every limit below that names no other

        [[rule]]
        quantity = "fat_pct_of_finished"    # a name from kit.meat_block.quantities
        comparison = "at most"              # at most, below, at least, above (or <=, <, >=, >)
        limit = 25
        where = "section 12"
        status = "read"                     # read, quoted, memory, practice, teaching or computed

        [[rule]]
        quantity = "nitrite ingoing"        # or one of kit.rules.limits.QUANTITIES, with unit, basis and as_salt
        comparison = "at most"
        limit = 120
        unit = "mg/kg"                      # mg/kg or %
        basis = "meat"                      # meat, batch, finished or accelerators
        as_salt = "NaNO2"                   # NaNO2, KNO2, NO2, NaNO3, KNO3, NO3 or "as used"
        status = "memory"

    source: a path (.toml), TOML text, or a dict of the same shape. Optional: title, date_to and note of the set; title, source, where
    and note of a limit; unit and basis of a share of the mix, which, where written, must be the quantity's own.

    Returns RuleSet. Raises Faulty with every fault at once.
    """
    notes: tuple[str, ...] = ()
    if isinstance(source, Mapping):
        faults, table = Faults("", "The rules in the given table cannot be used"), source
    else:
        whole, name = opener.load(source, "the given text", _FILE)
        faults = Faults(name, f"The rules in {name} cannot be used")
        table, _, notes = opener.toml_of(whole, faults)
    head, rules = _tables(table, faults)
    shared = _known(head, (*_SET_KEYS, "source"), "rule_set", faults)
    _check_set(shared, faults)
    rows = []
    for number, rule in enumerate(rules, start=1):
        row = dict.fromkeys(_LIMIT_KEYS, "") | {"source": shared["source"]}
        row |= _known(rule, _LIMIT_KEYS, f"rule {number}", faults)
        _check(row, f"rule {number}", faults)
        rows.append(row)
    _check_together(rows, faults)
    faults.stop_if_any()
    columns = {_SET_NAMES.get(key, key): shared[key] for key in _SET_KEYS}
    found = next(iter(sets_of(columns | row for row in rows).values()))
    return replace(found, note="; ".join(filter(None, (found.note, *notes))))


def _tables(table: Mapping, faults: Faults) -> tuple[Mapping, list[Mapping]]:
    """The table rule_set and the rules."""
    for key in table:
        if key not in ("rule_set", "rule"):
            faults.say("no rule entry", name=str(key), entry=key)
    head, rules = table.get("rule_set", {}), table.get("rule", [])
    whole = isinstance(head, Mapping) and isinstance(rules, list)
    if not whole or not all(isinstance(rule, Mapping) for rule in rules):
        faults.stop("no rule tables")
    if not rules:
        faults.stop("no rules", name="rule")
    return head, rules


def _known(table: Mapping, allowed: Sequence[str], label: str, faults: Faults) -> dict[str, str]:
    for key in table:
        if key not in allowed:
            near = ", ".join(nearest(str(key), allowed))
            faults.say("not known", Cell(None, label=label), str(key), entry=key, near=near)
    return {key: _text(value) for key, value in table.items() if key in allowed}


def _text(value) -> str:
    if isinstance(value, date | datetime):
        return value.isoformat()[:10]
    return "" if blank(Cell(value)) else str(value).strip()


# --- checking ---


def _check_set(head: dict[str, str], faults: Faults) -> None:
    say = partial(faults.say, at=Cell(None, label="rule_set"))
    for key in (*_SET_KEYS, "source"):
        head.setdefault(key, "")
        if key in _REQUIRED_OF_SET and not head[key]:
            say("empty entry", name=key, entry=key, remedy=_REMEDIES.get(key, "fill it in"))
    if head["key"] in rule_sets():
        say("own rule set", name="key", rule_set=head["key"])
    for key in ("date_from", "date_to"):
        if head[key] and not _is_date(head[key]):
            say("no date", name=key, entry=key, text=head[key])
            head[key] = ""
    since, until = tables.day_of(head["date_from"]), tables.day_of(head["date_to"], last=True)
    if since and until and until < since:
        say("dates crossed", name="date_to", until=head["date_to"], since=head["date_from"])


def _check(row: dict[str, str], label: str, faults: Faults) -> None:
    """Notes what is wrong; the row is left as text that `sets_of` can take."""
    say = partial(faults.say, at=Cell(None, label=label))
    for key in _REQUIRED:
        if not row[key]:
            say("empty entry", name=key, entry=key, remedy=_REMEDIES.get(key, "fill it in"))
    said = _SAID.get(row["comparison"].casefold(), "")
    for key, known in (("comparison", said), ("status", row["status"] in tables.STATUSES)):
        if row[key] and not known:
            say("unknown word", name=key, entry=key, word=row[key], remedy=_REMEDIES[key])
    row["comparison"] = said
    _check_bases(row, say)
    if row["limit"]:
        row["limit"] = _number(row["limit"], row["unit"], say)


def _check_bases(row: dict[str, str], say: Callable) -> None:
    """Unit, basis and salt of a limit on cure or an additive have to be said; a share of the mix has its own."""
    share = quantities().get(row["quantity"])
    known: dict[str, tuple[str, ...]] = {}
    if share:
        known = {"unit": (share.unit,), "basis": (share.basis,)}
    elif row["quantity"] in QUANTITIES:
        forms = tuple(forms_of(row["quantity"]))
        known = {"unit": tuple(PER_MILLION), "basis": tuple(BASES), "as_salt": forms}
    elif row["quantity"]:
        near = ", ".join(nearest(row["quantity"], (*quantities(), *QUANTITIES)))
        say("unknown quantity", name="quantity", word=row["quantity"], near=near)
    for key, words in known.items():
        if row[key] not in words and (row[key] or not share):
            said = {"word": row[key], "quantity": row["quantity"], "known": ", ".join(words)}
            say("basis of a share" if share else "no basis", name=key, entry=key, **said)
        if share:
            row[key] = words[0]


def _number(text: str, unit: str, say: Callable) -> str:
    """The number without its unit; '' where it is none."""
    bare, most = text.removesuffix(unit).strip(), 100 if unit == "%" else inf
    with suppress(ValueError):
        if 0 <= float(bare) <= most and float(bare) < inf:
            return bare
    ends = "between 0 and 100" if unit == "%" else "from 0 up"
    say("no limit", name="limit", text=text, ends=ends)
    return ""


def _is_date(text: str) -> bool:
    try:
        return bool(_DATE.match(text)) and tables.day_of(text) is not None
    except ValueError:
        return False


def _check_together(rows: Sequence[dict[str, str]], faults: Faults) -> None:
    """One ceiling and one floor for each quantity on each base, the floor below the ceiling."""
    seen: dict[tuple[str, ...], dict[str, str]] = {}
    for number, row in enumerate(rows, start=1):
        if not row["quantity"] or not row["comparison"]:
            continue
        place = Cell(None, label=f"rule {number}")
        upper = row["comparison"] in ("at most", "below")
        side, other_side = ("ceiling", "floor") if upper else ("floor", "ceiling")
        of = row["quantity"], row["basis"]
        if (*of, side) in seen:
            faults.say("two limits", place, quantity=row["quantity"], side=side)
        seen.setdefault((*of, side), row)
        other = seen.get((*of, other_side))
        if not other or not row["limit"] or not other["limit"] or other["unit"] != row["unit"]:
            continue
        low, high = (other, row) if upper else (row, other)
        if float(high["limit"]) < float(low["limit"]):
            least, most = float(low["limit"]), float(high["limit"])
            faults.say("limits crossed", place, quantity=row["quantity"], low=least, high=most)
