"""Is this text, and in which encoding? UTF-8 is read, with or without its mark; anything else is named and refused."""
import codecs

from kit.sheet.records import Cell, Faults

_MARKS = ((codecs.BOM_UTF32_LE, "UTF-32"), (codecs.BOM_UTF32_BE, "UTF-32"), (codecs.BOM_UTF16_LE, "UTF-16"), (codecs.BOM_UTF16_BE, "UTF-16"))
_KINDS = ((b"PK\x03\x04", "a zipped file such as a workbook", "save it under its right ending (.xlsx), or export it as CSV UTF-8"),
          (b"\xd0\xcf\x11\xe0", "a workbook of the old binary kind", "save it as .xlsx or as CSV UTF-8"))
_AS_UTF8 = "save it again as UTF-8 (in a spreadsheet: 'CSV UTF-8')"


def text_of(whole: bytes, limit: int, faults: Faults) -> str:
    """`whole` as text. Raises Faulty naming the encoding and the row where it is not UTF-8."""
    if len(whole) > limit:
        faults.stop(f"the file holds {len(whole):,} bytes; the limit is {limit:,}", remedy="a sheet is one batch; split it")
    for mark, kind, remedy in _KINDS:
        if whole.startswith(mark):
            faults.stop(f"the file is {kind}, not text", remedy=remedy)
    for mark, encoding in _MARKS:
        if whole.startswith(mark):
            faults.stop(f"the file is in {encoding}, not in UTF-8", remedy=_AS_UTF8)
    if b"\x00" in whole:
        halves = whole[:2000][::2].count(0), whole[:2000][1::2].count(0)
        wide = max(halves) > 0.3 * len(whole[:2000]) / 2
        faults.stop("the file is in UTF-16 without its mark, not in UTF-8" if wide else "the file holds zero bytes; it is not text",
                    Cell(None, row=None if wide else whole[:whole.index(0)].count(b"\n") + 1), remedy=_AS_UTF8)
    try:
        return whole.decode("utf-8-sig")
    except UnicodeDecodeError as cause:
        # cause.object has lost the mark of UTF-8, if there was one
        before, bad = cause.object[:cause.start], cause.object[cause.start:cause.start + 1]
        seen = (before.split(b"\n")[-1][-20:] + cause.object[cause.start:cause.start + 12].split(b"\n")[0]).decode("latin-1")
        return faults.stop(f"the file is not in UTF-8 (byte {bad[0]:#04x} in {seen!r}); it looks like Latin-1 or Windows-1252",
                           Cell(None, row=before.count(b"\n") + 1), remedy=_AS_UTF8)
