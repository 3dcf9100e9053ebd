"""What the buttons of the batch form do: open a file, save one, hand the batch to the lessons."""

import tempfile
from datetime import date
from itertools import count
from pathlib import Path

from kit.errors import Faulty, KitError
from kit.faults import Faults
from kit.files import file_stem
from kit.lab.panels.plan.form import placed, start_of, state_of_draft, with_stages
from kit.lab.panels.plan.lookup import find
from kit.lab.panels.sheets import batches_folder, made_folder, use_in_lessons
from kit.plan.after import as_made
from kit.plan.batch_plan import unmeasured
from kit.reading import read_sheet
from kit.reading.kept import write_kept_records
from kit.reading.sheets import draft_of_file
from kit.reading.written import write_sheet
from kit.sheet import Sheet


def handle(panel, widget, content: dict, buffers: list) -> None:
    """One press of a button; what came of it, or why nothing did, stands above the form."""
    try:
        widget.said = _do(panel, widget, content, buffers)
    except KitError as error:
        widget.said = f"Nothing was done: {error}"


def _do(panel, widget, content: dict, buffers: list) -> str:
    asked = content["do"]
    if asked == "open":
        return open_file(panel, widget, content["name"], bytes(buffers[0]))
    if asked == "find":
        widget.found = [list(one) for one in find(content["text"])]
        return "" if widget.found else f"No entry for {content['text'][:60]!r}; try another word."
    if asked == "blank":
        from kit.reading.template import written_xlsx

        return _download(widget, "blank_sheet.xlsx", written_xlsx({}))
    found = panel.result
    if panel.error or not hasattr(found, "plan"):
        raise KitError("the form has faults; they are marked at the fields")
    if asked == "use":
        use_in_lessons(as_made(found.plan, found.sheet), panel.system)
        return (
            "Saved as the current batch. In lessons 01 to 08 choose Run ▸ Run All Cells to take it."
        )
    if asked == "keep":
        made_folder()
        path = write_sheet(found.sheet, _place_for(found.sheet), overwrite=True)
        records, weighed, left_out = write_kept_records(batches_folder())
        without = f" Left out: {'; '.join(left_out)}." if left_out else ""
        return (
            f"Kept as {path.name} in {path.parent.name}. {records.name} beside it holds {weighed} weighed "
            f"batch{'es' if weighed != 1 else ''}: choose it in lesson 09.{without}"
        )
    if asked == "next":
        after = found.after
        if after is None:
            raise KitError(
                "nothing was measured yet; enter the weighings, or the measured final chopping temperature"
            )
        panel.set(sheet=start_of(after.next_sheet))
        return "The next batch, planned with the values measured in this one."
    stem = file_stem(found.sheet.name)
    return _download(widget, f"{stem}.{asked}", sheet_bytes(found.sheet, asked))


def _place_for(sheet: Sheet) -> Path:
    """Today's file of this batch: the one that holds the same plan, measured or not, else one that is not there yet."""
    stem = f"{date.today()}_{file_stem(sheet.name)}"
    for n in count(1):
        path = batches_folder() / (f"{stem}_{n}.toml" if n > 1 else f"{stem}.toml")
        if not path.exists() or _same_plan(path, sheet):
            return path
    raise AssertionError("counting never ends")


def _same_plan(path: Path, sheet: Sheet) -> bool:
    try:
        return unmeasured(read_sheet(path)) == unmeasured(sheet)
    except KitError:
        return False


def open_file(panel, widget, name: str, whole: bytes) -> str:
    """A file in the form, faults and all; only what cannot be taken apart at all is refused."""
    faults = Faults(name)
    draft = draft_of_file(whole, name, faults)
    panel.set(sheet=with_stages(state_of_draft(draft)))
    if isinstance(panel.result, Faulty):
        widget.faults = placed(panel.result, panel.values["sheet"])
    lost = [str(fault) for fault in faults.found]
    return f"{name} is in the form." + (f" Not read: {'; '.join(lost)}" if lost else "")


def sheet_bytes(sheet, form: str) -> bytes:
    """The sheet as a file of this form, 'toml' or 'xlsx'."""
    with tempfile.TemporaryDirectory() as folder:
        return write_sheet(sheet, Path(folder) / f"sheet.{form}").read_bytes()


def _download(widget, name: str, whole: bytes) -> str:
    widget.send({"do": "file", "name": name}, buffers=[whole])
    return f"{name} was sent to the browser's downloads."
