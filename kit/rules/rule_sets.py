"""Which limits on the mix belong together? Sets for one kind of product, in one jurisdiction and edition."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from datetime import date
from functools import lru_cache

from kit import tables
from kit.errors import look_up
from kit.meat_block.quantities import quantities
from kit.rules.limits import COMPARISONS, Limit


@dataclass(frozen=True)
class RuleSet:
    """The limits of one kind of product, in one jurisdiction, in one edition."""

    key: str
    title: str
    limits: tuple[Limit, ...]
    note: str

    @property
    def law(self) -> Limit:
        """The first limit: jurisdiction, edition and dates are the same in all."""
        return self.limits[0]

    def __str__(self) -> str:
        return f"{self.title} ({self.law.jurisdiction}, {self.law.edition} edition)"

    def not_in_force(self, on: date | None = None) -> str:
        """'' where the set holds `on` that day (today where left out), else a caution."""
        law = self.law
        if law.in_force(on):
            return ""
        since = f"from {law.date_from}" if law.date_from else ""
        until = f"to {law.date_to}" if law.date_to else ""
        return (
            f"{self} is not in force on {on or tables.today()}: it holds {f'{since} {until}'.strip()}; "
            "its limits are shown, but they are not the law of that day"
        )

    def limit(self, quantity: str) -> Limit:
        """The first limit on that quantity. UnknownName with the nearest three if there is none."""
        first = {one.quantity: one for one in reversed(self.limits)}
        return look_up(f"quantity limited by {self.key}", quantity, first)


def rule_set(key: str) -> RuleSet:
    """A built-in rule set.

    key: as in data/rules, such as "us_frankfurter"
    Returns RuleSet: every limit with edition and dates.
    Raises UnknownName with the nearest three.
    Source: data/rules/*.csv.
    """
    return look_up("rule set", key, rule_sets())


@lru_cache(maxsize=1)
def rule_sets() -> Mapping[str, RuleSet]:
    """Every built-in rule set, by key."""
    return sets_of(tables.read_rows("rules", "cooked_sausage.csv"))


def sets_of(rows: Iterable[Mapping[str, str]]) -> dict[str, RuleSet]:
    """Rule sets of checked rows: one row for each limit, with what belongs to its set repeated."""
    words = {text: key for key, text in COMPARISONS.items()}
    found: dict[str, RuleSet] = {}
    for row in rows:
        given, known = tables.dated(row), quantities().get(row["quantity"])
        key, title, note = (given.pop(name) for name in ("rule_set", "set_title", "set_note"))
        given["comparison"], given["limit"] = words[row["comparison"]], float(row["limit"])
        given["title"] = row["title"] or (known.title if known else row["quantity"])
        if known:
            given["unit"], given["basis"] = known.unit, known.basis
        one = Limit(key=key, **{"as_salt": ""} | given)
        held = found.get(key) or RuleSet(key, title or key.replace("_", " "), (), note)
        found[key] = replace(held, limits=(*held.limits, one))
    return found
