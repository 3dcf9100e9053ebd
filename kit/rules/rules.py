"""Which limits apply, where, and since when? Rules are dated data: rows of data/rules/cooked_sausage.csv, or a person's own file."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from kit import tables
from kit.errors import KitError, UnknownName
from kit.rules.reader import day_of, read_table

ROUNDING = 1e-9
"""A value this near its limit, relative to it, is on the limit: the size of rounding in the arithmetic, no tolerance of law."""


@dataclass(frozen=True)
class Rule:
    """One limit. `source` is a key of the sources table, or the words of the person who wrote the rule."""

    rule_set: str
    title: str
    jurisdiction: str
    product_kind: str
    edition: str
    date_from: str
    date_to: str
    quantity: str
    comparison: str
    limit: float
    unit: str
    basis: str
    source: str
    where: str
    status: str
    note: str = ""

    def __str__(self) -> str:
        return f"{self.title} {self.comparison} {self.limit:g} {self.unit} {self.basis}".replace(
            "  ", " "
        )

    @property
    def is_ceiling(self) -> bool:
        return self.comparison in ("at most", "below")

    def margin(self, value):
        """How far `value` (float or array) is inside the limit, in the rule's unit; negative is outside."""
        return self.limit - value if self.is_ceiling else value - self.limit

    def holds(self, value: float) -> bool:
        """Whether `value` meets the limit. On the limit "at most" and "at least" hold, "below" and "above" do not."""
        slack = ROUNDING * max(1.0, abs(self.limit))
        return bool(
            self.margin(value) >= -slack
            if self.comparison.startswith("at")
            else self.margin(value) > slack
        )

    def cite(self) -> str:
        """Source, place, edition and status in one line."""
        if self.source in tables.sources():
            return tables.cite(self.source, self.where, self.status)
        text = self.source + (f", {self.where}" if self.where else "")
        return text if self.status == "read" else f"{text} ({tables.STATUSES[self.status]})"


@dataclass(frozen=True)
class RuleSet:
    """The limits of one kind of product, in one jurisdiction, in one edition."""

    key: str
    title: str
    jurisdiction: str
    product_kind: str
    edition: str
    date_from: str
    date_to: str
    rules: tuple[Rule, ...]
    note: str = ""

    def __str__(self) -> str:
        return f"{self.title} ({self.jurisdiction}, {self.edition} edition)"

    def not_in_force(self, on: date | None = None) -> str:
        """'' where the set holds `on` that day (today where left out), else a caution. A year or a month stands for all of its days."""
        first, last = day_of(self.date_from), day_of(self.date_to, last=True)
        if tables.in_force(first, last, on):
            return ""
        span = " ".join(
            filter(
                None,
                (
                    f"from {self.date_from}" if self.date_from else "",
                    f"to {self.date_to}" if self.date_to else "",
                ),
            )
        )
        return f"{self} is not in force on {on or tables.today()}: it holds {span}; its limits are shown, but they are not the law of that day"

    def rule(self, quantity: str) -> Rule:
        """The first rule on that quantity. UnknownName with the nearest three if there is none."""
        for rule in self.rules:
            if rule.quantity == quantity:
                return rule
        raise UnknownName(
            f"quantity limited by {self.key}", quantity, [rule.quantity for rule in self.rules]
        )


def rule_set(key: str) -> RuleSet:
    """A built-in rule set. UnknownName with the nearest three if there is none."""
    try:
        return rule_sets()[key]
    except KeyError:
        raise UnknownName("rule set", key, rule_sets()) from None


@lru_cache(maxsize=1)
def rule_sets() -> Mapping[str, RuleSet]:
    """Every built-in rule set, by key."""
    return _gather(read_table(tables.data_path("rules", "cooked_sausage.csv")))


def read_rule_sets(source, quantities=None) -> dict[str, RuleSet]:
    """Rule sets that a person wrote, as a TOML or CSV file (a path), as TOML or CSV text, or as a dict of the TOML's shape.

        [rule_set]
        key = "somewhere_frankfurter"
        title = "Frankfurter of somewhere"
        jurisdiction = "Somewhere"
        product_kind = "frankfurter"
        edition = "2024"
        date_from = "2024-01-01"            # a year, a month or a day
        source = "Food code of somewhere"   # in your own words, for every rule below that names no other

        [[rule]]
        quantity = "fat_pct_of_finished"    # a name from kit.rules.quantities()
        comparison = "at most"              # at most, below, at least, above (or <=, <, >=, >)
        limit = 25
        where = "section 12"
        status = "read"                     # read, quoted, memory, practice, teaching or computed

    A CSV holds one row per rule with the set's columns repeated (rule_set for key), and may hold several sets. Optional: title,
    date_to and set_note of the set; title, unit, basis, source, where and note of a rule. Unit and basis, where written, must be the quantity's own.

    Raises Faulty with every fault at once. `quantities` may be another mapping of name to something with title, unit and basis.
    """
    return _gather(read_table(source, quantities, taken=rule_sets()))


def read_rule_set(source, quantities=None) -> RuleSet:
    """The one rule set of a file, text or dict; see `read_rule_sets`."""
    found = read_rule_sets(source, quantities)
    if len(found) != 1:
        raise KitError(
            f"one rule set is wanted and there are {len(found)}: {', '.join(found)}; use read_rule_sets and choose one"
        )
    return next(iter(found.values()))


def _gather(rows) -> dict[str, RuleSet]:
    sets: dict[str, RuleSet] = {}
    for key in dict.fromkeys(row["rule_set"] for row in rows):
        own = [row for row in rows if row["rule_set"] == key]
        first = own[0]
        rules = tuple(
            Rule(**{name: row[name] for name in Rule.__dataclass_fields__}) for row in own
        )
        sets[key] = RuleSet(
            key,
            first["set_title"] or key.replace("_", " "),
            first["jurisdiction"],
            first["product_kind"],
            first["edition"],
            first["date_from"],
            first["date_to"],
            rules,
            first["set_note"],
        )
    return sets
