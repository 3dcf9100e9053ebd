"""Tables and words that several panels of the books share."""

from kit import units
from kit.chain.closing import Checked
from kit.chain.yields import LOSS, BooksOf, Expected
from kit.lab.panels.view import Row, Table
from kit.yields import Books

INVENTED = "The demo batch is invented."
NET_WEIGHT = "The law on net weight is your own country's; its inspector decides. Weigh packs on a checked scale."
HEAVY = (
    "Full tubs and trucks are heavy and roll: two people or a lift, brakes on, floor dry before anything is weighed. Scrap and samples go where local codes say; "
    "what fell on the floor is never rework."
)


def percent(pct: float | None, places: int = 1) -> str:
    return "" if pct is None else f"{pct:.{places}f} %".replace("-", "−")


def reach(e: Expected | None, places: int = 1) -> str:
    """'9.0 % (6.0 to 12.0)'."""
    return (
        ""
        if e is None
        else f"{percent(e.pct, places)} ({e.low_pct:.{places}f} to {e.high_pct:.{places}f})"
    )


def stage_table(found: BooksOf, system: str) -> Table:
    """Every stage: what went in and came out, what was lost, and what was to be expected. Without weighings only the last."""
    lines = {line.stage: line for line in (found.weighed or found.expected).stages}
    rows = []
    for b in found.beside:
        line = (
            lines.get(b.stage) if b.kind == LOSS else None
        )  # a bridged line has the name of its stages together
        off = b.outside
        cells = (
            b.what,
            units.show(line.all_in_kg, "kg", system) if line else "",
            units.show(line.out_kg, "kg", system) if line else "",
            "" if b.kg is None else units.show(b.kg, "kg", system),
            percent(b.pct, 2),
            reach(b.usual),
            reach(b.chain),
            ""
            if b.pct is None or b.expected is None
            else "as expected"
            if off is None
            else f"{abs(b.pct - off.pct):.1f} points {'more' if b.pct > off.pct else 'less'} than expected",
        )
        rows.append(Row(cells, "strong" if off else ""))
    return Table(
        "Stage by stage: weighed beside expected",
        (
            "what",
            "went in",
            "came out",
            "kilograms" if system == units.METRIC else "pounds",
            "of what went in",
            "usual (range)",
            "the chain (range)",
            "so",
        ),
        tuple(rows),
    )


def base_table(found: BooksOf) -> Table:
    """The end of the line on every named base."""
    rows = tuple(
        Row(
            (
                y.base,
                percent(y.pct),
                "" if y.sd_pct is None else f"± {y.sd_pct:.1f}",
                percent(y.with_rework_pct),
                percent(y.expected_pct),
                "" if y.low_pct is None else f"{y.low_pct:.1f} to {y.high_pct:.1f}",
            )
        )
        for y in found.yields
    )
    of = found.yields[0].of if found.yields else "the end"
    return Table(
        f"Yield on every base: {of} weight in percent of it",
        ("base", "weighed", "by the scales", "rework counted as product", "expected", "range"),
        rows,
    )


def rests_table(found: BooksOf) -> Table:
    """What each expectation rests on."""
    rows = tuple(
        Row((b.what, name, e.rests_on, e.source))
        for b in found.beside
        for name, e in (("usual", b.usual), ("the chain", b.chain))
        if e
    )
    return Table(
        "What each expectation rests on", ("what", "which", "rests on", "source"), rows, folded=True
    )


def look_at(found: BooksOf, system: str) -> tuple[Table, ...]:
    """What cannot be right as it is written: gains with nothing added, and weights in another unit."""
    faults = found.weighed.faults if found.weighed else ()
    rows = [
        Row(
            (
                slip.weight,
                f"✗ {slip.words(system)}",
                "look at the note of that weighing; nothing was changed here",
            ),
            "fails",
        )
        for slip in found.slips
    ]
    rows += [
        Row((fault.field, f"✗ {_gain(found.weighed, fault.field, system)}", fault.remedy), "fails")
        for fault in faults
    ]
    return (
        (Table("Look at this", ("where", "what is wrong", "what to try"), tuple(rows)),)
        if rows
        else ()
    )


def _gain(books: Books, name: str, system: str) -> str:
    """A gain in the shown unit."""
    for line in books.handovers:
        if line.name == name:
            return f"{units.show(line.in_kg, 'kg', system)} came in where {units.show(line.out_kg, 'kg', system)} went out, {units.show(-line.unexplained_kg, 'kg', system)} more"
    line = next(line for line in books.stages if line.stage == name)
    return f"{units.show(-line.lost_kg, 'kg', system)} more came out than went in"


def closing_sentence(checked: Checked, system: str) -> str:
    """What the balances say; where no single cause will do, the causes one after the other."""
    suspects, turns = checked.found.suspects, checked.in_turn.turns
    if not turns or suspects.groups[0].explains:
        return suspects.words(system)
    figures = f"(g {suspects.global_stat:.1f}, limit {suspects.limit:.1f})"
    listed = "; then ".join(turn.words(system) for turn in turns)
    if not checked.in_turn.closes:
        return f"The books do not close {figures}, and {len(turns)} causes one after the other do not close them: {listed}."
    return f"The books do not close {figures}, and no single cause explains it. One after the other, {len(turns)} would: {listed}."


def turn_table(checked: Checked, system: str) -> tuple[Table, ...]:
    if len(checked.in_turn.turns) < 2:
        return ()
    rows = tuple(
        Row(
            (
                f"{n}",
                turn.words(system),
                "yes"
                if turn.told_apart
                else "no: "
                + (
                    f"also {', '.join(c.place for c in turn.rivals)}"
                    if turn.rivals
                    else "one pattern"
                ),
                f"{turn.left:.1f}",
                "no check left" if turn.limit == float("inf") else f"{turn.limit:.1f}",
            )
        )
        for n, turn in enumerate(checked.in_turn.turns, 1)
    )
    return (
        Table(
            "Causes one after the other, sizes reckoned together",
            ("turn", "cause", "told apart", "left of g", "limit"),
            rows,
        ),
    )


def next_table(checked: Checked) -> tuple[Table, ...]:
    """The measurement that would settle it; none where the books close."""
    if checked.found.closes:
        return ()
    return (
        Table(
            "What to measure next",
            ("to settle it",),
            (Row((checked.found.suspects.next_step,), "strong"),),
        ),
    )


def cause_table(checked: Checked, system: str) -> tuple[Table, ...]:
    if checked.found.closes is not False:
        return ()
    suspects = checked.found.suspects
    rows = tuple(
        Row(
            (
                group.words(system),
                f"{group.drop:.1f}",
                f"{group.left:.1f}",
                "closes the books" if group.explains else "leaves too much",
            ),
            "strong" if n == 0 else "",
        )
        for n, group in enumerate(suspects.groups[:12])
    )
    return (
        Table(
            "Single causes, best first",
            ("cause", "takes off g", "leaves", "alone it"),
            rows,
            folded=True,
        ),
    )


def _signed(kg: float, system: str) -> str:
    """A change with its sign; none on what rounding left of 0."""
    if kg != kg:
        return ""
    return (
        units.show(0.0, "kg", system)
        if abs(kg) < 5e-4
        else ("+" if kg > 0 else "") + units.show(kg, "kg", system)
    )


def weight_table(checked: Checked, system: str) -> Table:
    """Every weight as written and as the least change closes the books."""
    found = checked.found
    rows = []
    for name, kg, closed, sd, z in zip(
        found.graph.names, found.kg, found.reconciled_kg, found.sd_kg, found.z
    ):
        change = closed - kg
        unusual = z == z and z > found.z_limit
        rows.append(
            Row(
                (
                    name,
                    "not weighed" if kg != kg else units.show(kg, "kg", system),
                    "cannot be told" if closed != closed else units.show(closed, "kg", system),
                    _signed(change, system),
                    "" if sd != sd else f"± {units.show(sd, 'kg', system)}",
                    "not tested" if z != z else f"{z:.1f}{' unusual' if unusual else ''}",
                ),
                "strong" if unusual else "",
            )
        )
    return Table(
        "Every weight, and what the least change makes of it",
        ("weight", "written", "closed", "change", "doubt", "change over its doubt"),
        tuple(rows),
        folded=True,
    )
