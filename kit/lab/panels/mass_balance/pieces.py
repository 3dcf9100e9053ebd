"""Tables and words that several panels of the mass balance share."""

from kit import units
from kit.chain.expected_loss import Expected
from kit.chain.mass_balance import LOSS, LossCompared, SheetBalance
from kit.lab.panels.view import Row, Table, row
from kit.yields import MassBalance
from kit.yields.reconcile import Reconciled

INVENTED = "The demo batch is invented."
NET_WEIGHT = (
    "The law on net weight is your own country's; its inspector decides. "
    "Weigh packs on a checked scale."
)
HEAVY = (
    "Full tubs and trucks are heavy and roll: two people or a lift, brakes on, floor dry before "
    "anything is weighed. Scrap and samples go where local codes say; "
    "what fell on the floor is never rework."
)


def percent(pct: float | None, places: int = 1) -> str:
    return "" if pct is None else f"{pct:.{places}f} %".replace("-", "−")


def plural(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def balance_tables(found: SheetBalance, system: str) -> tuple[Table, ...]:
    """What cannot be right, yields on every base, losses by stage, and what expectations rest on."""
    return (
        *_look_at(found, system),
        _base_table(found),
        _stage_table(found, system),
        _rests_table(found),
    )


def _stage_table(found: SheetBalance, system: str) -> Table:
    """Every stage: what went in and came out, what was lost, and what was to be expected."""
    lines = {line.stage: line for line in (found.weighed or found.expected).stages}
    rows = []
    for b in found.compared:
        # a bridged line has the name of its stages together
        line = lines.get(b.stage) if b.kind == LOSS else None
        kgs = (line and line.all_in_kg, line and line.out_kg, b.kg)
        weights = ("" if kg is None else units.show(kg, "kg", system) for kg in kgs)
        cells = (b.what, *weights, percent(b.pct, 2), _reach(b.usual), _reach(b.chain), _so(b))
        rows.append(Row(cells, "strong" if b.outside else ""))
    unit = "kilograms" if system == units.METRIC else "pounds"
    expected = ("usual (range)", "the chain (range)", "so")
    columns = ("what", "went in", "came out", unit, "of what went in", *expected)
    return Table("Stage by stage: weighed beside expected", columns, tuple(rows))


def _reach(e: Expected | None) -> str:
    """'9.0 % (6.0 to 12.0)'."""
    return "" if e is None else f"{percent(e.pct)} ({e.low_pct:.1f} to {e.high_pct:.1f})"


def _so(line: LossCompared) -> str:
    pct, off = line.pct, line.outside
    if pct is None or line.expected is None:
        return ""
    if off is None:
        return "as expected"
    more = "more" if pct > off.pct else "less"
    return f"{abs(pct - off.pct):.1f} points {more} than expected"


def _base_table(found: SheetBalance) -> Table:
    """The end of the line on every named base."""
    rows = []
    for y in found.yields:
        by_scales = "" if y.sd_pct is None else f"± {y.sd_pct:.1f}"
        reach = "" if y.low_pct is None else f"{y.low_pct:.1f} to {y.high_pct:.1f}"
        weighed = (percent(y.pct), by_scales, percent(y.with_rework_pct))
        rows.append(row(y.base, *weighed, percent(y.expected_pct), reach))
    of = found.yields[0].of if found.yields else "the end"
    weighed = ("weighed", "by the scales", "rework counted as product")
    columns = ("base", *weighed, "expected", "range")
    return Table(f"Yield on every base: {of} weight in percent of it", columns, tuple(rows))


def _rests_table(found: SheetBalance) -> Table:
    rows = tuple(
        row(b.what, name, e.rests_on, e.source)
        for b in found.compared
        for name, e in (("usual", b.usual), ("the chain", b.chain))
        if e
    )
    columns = ("what", "which", "rests on", "source")
    return Table("What each expectation rests on", columns, rows, folded=True)


def _look_at(found: SheetBalance, system: str) -> tuple[Table, ...]:
    """What cannot be right: gains with nothing added, and weights in another unit."""
    note = "look at the note of that weighing; nothing was changed here"
    wrong = [(slip.weight, slip.words(system), note) for slip in found.slips]
    if found.weighed:
        for fault in found.weighed.faults:
            gain = _gain(found.weighed, fault.field, system)
            wrong.append((fault.field, gain, fault.remedy))
    rows = tuple(row(where, f"✗ {what}", remedy, mark="fails") for where, what, remedy in wrong)
    columns = ("where", "what is wrong", "what to try")
    return (Table("Look at this", columns, rows),) if rows else ()


def _gain(balance: MassBalance, name: str, system: str) -> str:
    """A gain in the shown unit."""

    def shown(kg: float) -> str:
        return units.show(kg, "kg", system)

    for way in balance.transfers:
        if way.name == name:
            went = f"{shown(way.in_kg)} came in where {shown(way.out_kg)} went out"
            return f"{went}, {shown(-way.unrecorded_kg)} more"
    line = next(line for line in balance.stages if line.stage == name)
    return f"{shown(-line.lost_kg)} more came out than went in"


def reconciliation_tables(found: Reconciled, system: str) -> tuple[Table, ...]:
    """The measurement that would settle it, the single causes, and every weight."""
    tables = []
    if not found.closes:
        step = row(found.suspects.next_step, mark="strong")
        tables.append(Table("What to measure next", ("to settle it",), (step,)))
    if found.closes is False:
        tables.append(_cause_table(found, system))
    return (*tables, _weight_table(found, system))


def _cause_table(found: Reconciled, system: str) -> Table:
    rows = []
    for n, group in enumerate(found.suspects.groups[:12]):
        alone = "closes the balance" if group.explains else "leaves too much"
        cells = (group.words(system), f"{group.drop:.1f}", f"{group.left:.1f}", alone)
        rows.append(Row(cells, "" if n else "strong"))
    columns = ("cause", "reduction of test statistic", "remaining", "as a single cause")
    return Table("Single causes, best first", columns, tuple(rows), folded=True)


def _weight_table(found: Reconciled, system: str) -> Table:
    """Every weight as written and as the smallest adjustment closes the balance; nan where unknown."""

    def shown(kg: float, unknown: str, sign: str = "") -> str:
        return unknown if kg != kg else f"{sign}{units.show(kg, 'kg', system)}"

    rows = []
    columns = zip(found.graph.names, found.kg, found.reconciled_kg, found.sd_kg, found.z)
    for name, kg, closed, sd, z in columns:
        # no sign on what rounding left of 0
        change = 0.0 if abs(closed - kg) < 5e-4 else closed - kg
        tested = "not tested" if z != z else f"{z:.1f}"
        unusual = bool(z > found.z_limit)
        cells = (
            name,
            shown(kg, "not weighed"),
            shown(closed, "cannot be told"),
            shown(change, "", "+" if change > 0 else ""),
            shown(sd, "", "± "),
            f"{tested} unusual" if unusual else tested,
        )
        rows.append(Row(cells, "strong" if unusual else ""))
    return Table(
        "Measured and reconciled weights",
        (
            "weight",
            "measured",
            "reconciled",
            "adjustment",
            "standard deviation",
            "standardized adjustment",
        ),
        tuple(rows),
        folded=True,
    )
