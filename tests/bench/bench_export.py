"""How long does the export of large records take, beside pandas' own to_csv and to_excel of the same weighings, and does it grow in line?   python tests/bench/bench_export.py   (by hand)

Records of 1,000 and 2,500 batches, and of a million weighings of which one period of 2,500 batches is analysed; one weight in 997 slipped a unit. CPU seconds of the
export alone, and most memory (VmHWM, on Linux).
"""

import sys
import tempfile
import time
from datetime import date, timedelta
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "bench")]
sys.dont_write_bytecode = True

import pandas as pd  # noqa: E402
from bench_records import PLAN, write  # noqa: E402

SIZES = ((1_000, 1_000), (2_500, 2_500), (50_000, 2_500))
"""batches in the file, and those analysed, from the first"""


def seconds(what, *args):
    """(result, CPU seconds)"""
    start = time.process_time()
    found = what(*args)
    return found, time.process_time() - start


def parts(answer) -> dict[str, float]:
    """CPU seconds of the steps of an export."""
    from kit.lab.pages import export as e

    frames, tables_s = seconds(e.export_tables, answer)
    csv, csv_s = seconds(lambda: [e.csv_bytes(frame) for frame in frames.values()])
    _, book_s = seconds(e._workbook, frames)
    _, page_s = seconds(lambda: e.findings_html(answer.analysis, notes=answer.notes))
    weighed = frames["weighings"]
    _, own_s = seconds(lambda: weighed.to_csv(index=False))
    kept = {name: f for name, f in frames.items() if len(f) <= e.MOST_ROWS}
    with tempfile.TemporaryDirectory() as folder:
        for name, frame in kept.items():
            excel = Path(folder) / f"{name}.xlsx"
            own_s += seconds(lambda f=frame, to=excel: f.to_excel(to, index=False))[1]
    whole = tables_s + csv_s + book_s + page_s
    said = {"tables": tables_s, "CSV": csv_s, "XLSX": book_s, "page": page_s, "all": whole}
    return said | {"pandas": own_s, "x pandas": whole / own_s, "MB": sum(map(len, csv)) / 1e6}


def main() -> None:
    from kit.reading.plant import analysed
    from kit.reading.records import read_records

    with tempfile.TemporaryDirectory() as folder:
        for batches, used in SIZES:
            path = Path(folder) / f"{batches}.csv"
            write(path, batches * len(PLAN))
            frame = pd.read_csv(path)
            frame.loc[::997, "Weight (kg)"] *= 2.20462
            frame.to_csv(path, index=False)
            records = read_records(path)
            last = date(2020, 1, 1) + timedelta(seconds=1900 * used - 86400)
            answer, analysis_s = seconds(lambda r=records, d=last: analysed(r, last=d))
            print(f"{batches * len(PLAN):>9,} weighings, {answer.table.n:,} batches analysed")
            print(f"  analysis {analysis_s:.1f} s; export", end=" ")
            print(", ".join(f"{name} {x:.2f}" for name, x in parts(answer).items()), flush=True)
    status = Path("/proc/self/status").read_text()
    print(next(line for line in status.splitlines() if line.startswith("VmHWM")))


if __name__ == "__main__":
    main()
