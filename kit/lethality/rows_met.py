"""Which published row does one core temperature and its holding time meet? For a kitchen that has a probe and a clock, and no log."""

from dataclasses import dataclass
from datetime import date

from kit.errors import need_between
from kit.lethality.findings import RowFinding, warmest_row_met
from kit.lethality.published import known_product, tables_for
from kit.lethality.trace import trace
from kit.tables import value
from kit.working import Result

ONE_READING = (
    "Read off a probe and a clock, not from a log: that the core stayed there unbroken is the writer's word, and one link says nothing about the coldest one. "
    "It validates nothing."
)
_NO_TIME_S = 1e-3


@dataclass(frozen=True)
class RowsMet(Result):
    """`as_read`: one finding per table, as the probe reads. `at_worst`: the same with the probe's error taken off the core; both the same where no error is given."""

    core_C: float
    held_min: float
    probe_error_K: float
    as_read: tuple[RowFinding, ...]
    at_worst: tuple[RowFinding, ...]

    @property
    def words(self) -> str:
        """A line per table: the row and whether it is met, as read and if the probe reads too high by its error."""
        lines = [
            f"core {self.core_C:.1f} °C held {self.held_min:g} min, probe error {self.probe_error_K:g} K"
        ]
        for read, worst in zip(self.as_read, self.at_worst):
            line = f"{read.what}: {read.verdict}"
            if self.probe_error_K:
                line += f"; with the error taken off {worst.verdict} ({worst.what.split(': ')[-1]})"
            lines.append(line)
        return "\n".join(lines)


def rows_met(
    core_C: float,
    held_min: float,
    product: str,
    fat_pct: float | None = None,
    probe_error_K: float = 0.0,
    on: date | None = None,
) -> RowsMet:
    """Every table for this product against a core that was held, in the edition in force `on` (today where left out).

    core_C: 0 to 102, as read. held_min: at that temperature or above, unbroken, 0 to 1440. product: one of PRODUCTS. fat_pct: for poultry.
    probe_error_K: what the probe may read too high, 0 to 10. Raises OutOfRange, UnknownName. Source: data/lethality.
    """
    core = need_between("core_C", core_C, 0, value("lethality_warmest_C"), "a wet core")
    held = need_between("held_min", held_min, 0, 1440, "the time at that core")
    error = need_between("probe_error_K", probe_error_K, 0, 10, "error of the probe")
    tables, why = tables_for(known_product(product), fat_pct, on)

    seconds = max(60 * held, _NO_TIME_S)
    # a core typed as a row's own temperature is at that row
    flat = trace("measured core", [0.0, seconds], [core + 1e-9, core + 1e-9])
    as_read, at_worst = (
        tuple(warmest_row_met(course, table, product) for table in tables)
        for course in (flat, flat.lowered(error))
    )
    return RowsMet(core, held, error, as_read, at_worst, own_notes=(*why, ONE_READING))
