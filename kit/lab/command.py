"""`python3 -m kit plan SHEET [--out FOLDER]`: the plan on the screen, and as a page to print."""

import argparse
import sys
from pathlib import Path

from kit import units
from kit.errors import KitError
from kit.files import file_stem, put
from kit.lab.pages.plan import as_html
from kit.plan import plan_batch
from kit.reading import read_sheet


def main(arguments: list[str]) -> int:
    """Print the plan of a sheet; with a folder, write its page there. 0 as planned, 1 where the sheet is faulty or the cure says stop."""
    parser = argparse.ArgumentParser("python3 -m kit plan", description=main.__doc__)
    parser.add_argument("sheet", type=Path, help="batch sheet: .toml, .csv or .xlsx")
    parser.add_argument("--out", type=Path, help="folder that takes the page (HTML)")
    parser.add_argument("--units", choices=units.SYSTEMS, default=units.METRIC)
    parser.add_argument("--batch", default="", help="batch number, for the top of the page")
    given = parser.parse_args(arguments)
    try:
        plan = plan_batch(read_sheet(given.sheet))
        print(plan)
        if given.out:
            given.out.mkdir(parents=True, exist_ok=True)
            path = given.out / f"{file_stem(plan.sheet.name)}_plan.html"
            print(f"page: {put(path, as_html(plan, given.units, given.batch), overwrite=True)}")
    except (KitError, OSError) as error:
        print(error, file=sys.stderr)
        return 1
    return 1 if plan.stop else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
