"""`python3 -m kit plan SHEET` and `python3 -m kit losses FILE`: what they say on the screen, and what they write."""

import argparse
import sys
from datetime import date
from pathlib import Path

import numpy as np

from kit import units
from kit.batches.target import met
from kit.errors import Faulty, KitError
from kit.files import file_stem, put, put_folder
from kit.lab.pages.plan import as_html
from kit.plan import plan_batch
from kit.reading import read_sheet

DONE, FAULTY, ASKED = 0, 1, 3
"""exit status: as told; cannot be used; questions are open (2 is a wrong call)"""


def main(arguments: list[str]) -> int:
    """Do what the first word says."""
    job, *more = arguments
    try:
        return {"plan": plan, "losses": losses}[job](more)
    except (KitError, OSError) as error:
        print(error, file=sys.stderr)
        return FAULTY


def plan(arguments: list[str]) -> int:
    """Print the plan of a sheet; with a folder, write its page there. 0 as planned, 1 where the sheet is faulty or the cure says stop."""
    parser = argparse.ArgumentParser("python3 -m kit plan", description=plan.__doc__)
    parser.add_argument("sheet", type=Path, help="batch sheet: .toml, .csv or .xlsx")
    parser.add_argument("--out", type=Path, help="folder that takes the page (HTML)")
    parser.add_argument("--units", choices=units.SYSTEMS, default=units.METRIC)
    parser.add_argument("--batch", default="", help="batch number, for the top of the page")
    given = parser.parse_args(arguments)
    found = plan_batch(read_sheet(given.sheet))
    print(found)
    if given.out:
        given.out.mkdir(parents=True, exist_ok=True)
        path = given.out / f"{file_stem(found.sheet.name)}_plan.html"
        print(f"page: {put(path, as_html(found, given.units, given.batch), overwrite=True)}")
    return FAULTY if found.stop else DONE


def losses(arguments: list[str]) -> int:
    """Read the records of many batches, say in one paragraph what was lost and where to look first, and write tables and the page of findings into a
    folder. 0 read and analysed; 1 the file, the mapping, the prices, the targets or the folder cannot be used; 2 a wrong call; 3 the reader asks
    something: the questions are printed, and with a folder a mapping to edit is written into it."""
    from kit.lab.pages.export import MAPPING, export_files  # loads the panels
    from kit.reading.line_values import read_prices, read_targets
    from kit.reading.plant import analysed, arranged
    from kit.reading.records import draft_mapping, read_mapping, read_records

    parser = argparse.ArgumentParser("python3 -m kit losses", description=losses.__doc__)
    parser.add_argument("file", type=Path, help="plant records: .csv, .xlsx or .parquet")
    parser.add_argument(
        "--mapping", type=Path, help="what the columns mean (TOML); drafted where left out"
    )
    parser.add_argument(
        "--prices", type=Path, help="price of a kilogram lost at each stage (CSV, TOML)"
    )
    parser.add_argument("--targets", type=Path, help="target loss in %% of each stage (CSV, TOML)")
    parser.add_argument("--product", default="", help="only batches of this product (or recipe)")
    for end, what in (("--first", "from"), ("--last", "to")):
        said = f"only batches {what} this day, YYYY-MM-DD"
        parser.add_argument(end, type=date.fromisoformat, help=said)
    parser.add_argument(
        "--out", type=Path, help="folder for tables and page; an earlier export in it is replaced"
    )
    parser.add_argument("--units", choices=units.SYSTEMS, default=units.METRIC)
    given = parser.parse_args(arguments)
    mapping = read_mapping(given.mapping) if given.mapping else draft_mapping(given.file)
    if mapping.questions:
        asked = Faulty(given.file.name, [question.fault for question in mapping.questions])
        print(asked, file=sys.stderr)
        if given.out and not given.mapping:
            given.out.mkdir(parents=True, exist_ok=True)
            try:
                print(f"mapping to edit: {put(given.out / MAPPING, str(mapping))}")
            except KitError as error:  # an earlier draft that may be edited by now
                print(error, file=sys.stderr)
        return ASKED
    records = read_records(given.file, mapping)
    prices = read_prices(given.prices) if given.prices else {}
    targets = read_targets(given.targets) if given.targets else ()
    table, _ = arranged(records)
    lines = (*table.stages, *table.handovers())
    answer = analysed(
        records,
        {line: price for line, price in prices.items() if line in lines},
        product=given.product,
        first=given.first,
        last=given.last,
    )
    unused = [line for line in prices if line not in lines]
    if unused:
        print(f"prices without such a line in these records: {', '.join(unused)}", file=sys.stderr)
    held = [met(answer.analysis.findings.cleaned, target) for target in targets]
    if given.out:
        put_folder(given.out, export_files(answer, given.units), overwrite=True)
    print(summary(answer, held, given))
    return DONE


def summary(answer, held, given) -> str:
    """One paragraph: rows, batches, what was lost, where to look first, targets, and where the results are."""
    analysis, table, report = answer.analysis, answer.table, answer.records.report
    bars, findings = analysis.pareto, analysis.findings
    lost = units.show(float(np.nansum(table.lost_kg)), "kg", given.units, 0)
    most = max(bars.bars, key=lambda bar: bar.kg)
    said = [
        f"{given.file.name}: {report.rows_used:,} of {report.rows_read:,} rows used, {report.rows_set_aside:,} set aside; {table.span}.",
        f"Loss {lost}, {float(np.nanmean(100 - table.overall_yield_pct)):.1f} % of the weight in; largest: {most.name}, {units.show(most.kg, 'kg', given.units, 0)}.",
    ]
    if bars.total_money is not None:
        said.append(f"Cost of the losses with a price: {bars.total_money:,.0f} (your currency).")
    said.append(f"First finding: {findings.verdict}")
    if len(findings.findings) > 1:
        said.append(f"{len(findings.findings) - 1} more in the table of findings.")
    said += [one.sentence for one in held]
    if given.out:
        said.append(f"Results: {given.out}.")
    return " ".join(said)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
