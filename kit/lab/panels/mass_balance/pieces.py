"""Tables and words that several panels of the mass balance share."""

from kit import units
from kit.chain.cook_yield import Expected
from kit.chain.mass_balance import LOSS, LossCompared, SheetBalance
from kit.lab.panels.view import Row, Table, listing, row
from kit.yields.reconcile import Reconciled

INVENTED = "The demo batch is invented."
NET_WEIGHT = (
    "Net weight is subject to your national law and its inspectors. "
    "Weigh packs on a verified scale."
)
HEAVY = (
    "Full tubs and trucks are heavy and roll: use two people or a lift, set the brakes and dry the "
    "floor before weighing. Dispose of scrap and samples by local codes; "
    "never rework product that fell on the floor."
)

CAUSES, LEAST = 6, 0.02
"""so many single causes are listed, and none that explains less than this share"""


def percent(pct: float | None, places: int = 1) -> str:
    return "" if pct is None else f"{pct:.{places}f} %".replace("-", "−")


def plural(count: int, word: str) -> str:
    return f"{count} {word}{'' if count == 1 else 's'}"


def balance_tables(found: SheetBalance, system: str) -> tuple[Table, ...]:
    """Impossible weights, and losses by stage."""
    return (*_look_at(found, system), _stage_table(found, system))


def _stage_table(found: SheetBalance, system: str) -> Table:
    """Every stage: weights in and out, loss, and the expected loss."""
    lines = {line.stage: line for line in (found.weighed or found.expected).stages}
    rows = []
    for b in found.compared:
        # a bridged line has the name of its stages together
        line = lines.get(b.stage) if b.kind == LOSS else None
        kgs = (line and line.all_in_kg, line and line.out_kg, b.kg)
        weights = ("" if kg is None else units.show(kg, "kg", system) for kg in kgs)
        cells = (b.what, *weights, percent(b.pct, 2), _range(b.usual), _range(b.model), _verdict(b))
        rows.append(Row(cells, "strong" if b.outside else ""))
    expected = ("usual loss (range)", "batch model (range)", "result")
    columns = ("flow", "weight in", "weight out", "loss", "loss (% of weight in)", *expected)
    return Table("Mass balance by stage: weighed and expected", columns, tuple(rows))


def _range(e: Expected | None) -> str:
    """'9.0 % (6.0 to 12.0)'."""
    return "" if e is None else f"{percent(e.pct)} ({e.low_pct:.1f} to {e.high_pct:.1f})"


def _verdict(line: LossCompared) -> str:
    pct, off = line.pct, line.outside
    if pct is None or line.expected is None:
        return ""
    if off is None:
        inside = line.expected.low_pct <= pct <= line.expected.high_pct
        return "as expected" if inside else "outside the range, by less than the scales can show"
    more = "more" if pct > off.pct else "less"
    return f"{abs(pct - off.pct):.1f} percentage points {more} than expected"


def _look_at(found: SheetBalance, system: str) -> tuple[Table, ...]:
    """What cannot be right: gains with nothing added, and weights in another unit."""
    note = "check the note of that weighing; the record was not changed"
    wrong = [(slip.weight, f"✗ {slip.words(system)}", note) for slip in found.slips]
    if found.weighed:
        lines = {line.stage: line for line in found.weighed.sections}
        for fault in found.weighed.faults:
            gain = lines[fault.field].gain_in_words(system)
            wrong.append((fault.field, f"✗ {gain}", fault.remedy))
    listed = Table("Faults in the weighings", ("weighing", "fault", "remedy"), wrong)
    return (listed,) if wrong else ()


def reconciliation_tables(found: Reconciled, system: str) -> tuple[Table, ...]:
    """The measurement that would settle it, the single causes that explain most, and every weight."""
    weights = _weight_table(found, system)
    if found.closes:
        return (weights,)
    step = row(found.next_step, mark="strong")
    settle = Table("Next measurement", ("measurement",), (step,))
    return (settle, *_cause_table(found, system), weights)


def _cause_table(found: Reconciled, system: str) -> tuple[Table, ...]:
    """Causes with one pattern share a line: these balances cannot distinguish them."""
    rows = tuple(
        row(
            group.words(system),
            f"{100 * group.drop / found.global_stat:.0f} %",
            "sufficient" if group.explains else "",
            mark="strong" if group.explains else "",
        )
        for group in found.suspects[:CAUSES]
        if group.drop > LEAST * found.global_stat
    )
    columns = ("cause", "imbalance explained", "as a single cause")
    return (Table("Single causes of the imbalance", columns, rows),) if rows else ()


def _weight_table(found: Reconciled, system: str) -> Table:
    """Every weight as recorded and as the smallest adjustment closes the balance; nan if unknown."""

    def shown(kg: float, unknown: str = "", sign: str = "") -> str:
        return unknown if kg != kg else f"{sign}{units.show(kg, 'kg', system)}"

    def adjusted(flow: int) -> str:
        change = found.reconciled_kg[flow] - found.kg[flow]
        # no sign on what rounding left of 0
        change = 0.0 if abs(change) < 5e-4 else change
        return shown(change, sign="+" if change > 0 else "")

    def tested(flow: int) -> str:
        z = found.z[flow]
        said = "not tested" if z != z else f"{z:.1f}"
        return f"{said} unusual" if names[flow] in found.unusual else said

    names = found.graph.names
    return listing(
        "Recorded and reconciled weights",
        {
            "weight": lambda flow: names[flow],
            "recorded": lambda flow: shown(found.kg[flow], "not weighed"),
            "reconciled": lambda flow: shown(found.reconciled_kg[flow], "cannot be determined"),
            "adjustment": adjusted,
            "uncertainty": lambda flow: shown(found.sd_kg[flow], sign="± "),
            "standardized adjustment": tested,
        },
        range(len(names)),
        folded=True,
        mark=lambda flow: "strong" if names[flow] in found.unusual else "",
    )
