"""Which limits on the mix belong together? Sets for one kind of product, in one jurisdiction and edition."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from kit import tables
from kit.errors import UnknownName
from kit.meat_block.quantities import quantities
from kit.rules.limits import COMPARISONS, Limit, day_of


@dataclass(frozen=True)
class RuleSet:
    """The limits of one kind of product, in one jurisdiction, in one edition."""

    key: str
    title: str
    jurisdiction: str
    product_kind: str
    edition: str
    date_from: date | None
    date_to: date | None
    limits: tuple[Limit, ...]
    note: str = ""

    def __str__(self) -> str:
        return f"{self.title} ({self.jurisdiction}, {self.edition} edition)"

    def not_in_force(self, on: date | None = None) -> str:
        """'' where the set holds `on` that day (today where left out), else a caution."""
        if tables.in_force(self.date_from, self.date_to, on):
            return ""
        since = f"from {self.date_from}" if self.date_from else ""
        until = f"to {self.date_to}" if self.date_to else ""
        return (
            f"{self} is not in force on {on or tables.today()}: it holds {f'{since} {until}'.strip()}; "
            "its limits are shown, but they are not the law of that day"
        )

    def limit(self, quantity: str) -> Limit:
        """The first limit on that quantity. UnknownName with the nearest three if there is none."""
        for one in self.limits:
            if one.quantity == quantity:
                return one
        known = [one.quantity for one in self.limits]
        raise UnknownName(f"quantity limited by {self.key}", quantity, known)


def rule_set(key: str) -> RuleSet:
    """A built-in rule set.

    key: as in data/rules, such as "us_frankfurter"
    Returns RuleSet: every limit with edition and dates.
    Raises UnknownName with the nearest three.
    Source: data/rules/*.csv.
    """
    try:
        return rule_sets()[key]
    except KeyError:
        raise UnknownName("rule set", key, rule_sets()) from None


@lru_cache(maxsize=1)
def rule_sets() -> Mapping[str, RuleSet]:
    """Every built-in rule set, by key."""
    return sets_of(tables.read_rows("rules", "cooked_sausage.csv"))


def sets_of(rows: Iterable[Mapping[str, str]]) -> dict[str, RuleSet]:
    """Rule sets of checked rows: one row for each limit, with what belongs to its set repeated."""
    words = {text: key for key, text in COMPARISONS.items()}
    gathered: dict[str, list[tuple[Mapping[str, str], Limit]]] = {}
    for row in rows:
        known = quantities().get(row["quantity"])
        one = Limit(
            key=row["rule_set"],
            jurisdiction=row["jurisdiction"],
            edition=row["edition"],
            date_from=day_of(row["date_from"]),
            date_to=day_of(row["date_to"], last=True),
            product_kind=row["product_kind"],
            quantity=row["quantity"],
            comparison=words[row["comparison"]],
            limit=float(row["limit"]),
            unit=known.unit if known else row["unit"],
            basis=known.basis if known else row["basis"],
            as_salt=row.get("as_salt", ""),
            source=row["source"],
            where=row["where"],
            status=row["status"],
            note=row["note"],
            title=row["title"] or (known.title if known else row["quantity"]),
        )
        gathered.setdefault(one.key, []).append((row, one))
    return {key: _set_of(key, found) for key, found in gathered.items()}


def _set_of(key: str, found: list[tuple[Mapping[str, str], Limit]]) -> RuleSet:
    row, first = found[0]
    return RuleSet(
        key,
        row["set_title"] or key.replace("_", " "),
        first.jurisdiction,
        first.product_kind,
        first.edition,
        first.date_from,
        first.date_to,
        tuple(one for _, one in found),
        row["set_note"],
    )
