"""The record as one page: plain text, or HTML that stands alone and prints. Everything a person wrote is escaped."""
import textwrap
from html import escape
from pathlib import Path

import numpy as np

from kit.files import put
from kit.lethality.published import celsius
from kit.lethality.record import Record
from kit.tables import value

WIDTH = 108
_STYLE = """
@page { size: A4; margin: 7mm } body { font: 8.5px/1.15 sans-serif; color: #111; max-width: 190mm; margin: 8px auto; padding: 0 6px }
h1 { font-size: 15px; margin: 0 } h2 { font-size: 10px; margin: 3px 0 1px; break-after: avoid; border-bottom: 1px solid #999 } p { margin: 2px 0 }
table { border-collapse: collapse; width: 100%; table-layout: fixed }
td, th { text-align: left; vertical-align: top; padding: 1px 5px 1px 0; border-bottom: 1px dotted #bbb }
td.n, th.n { text-align: right } td.v { font-weight: bold } .two { columns: 2 } li { break-inside: avoid }
.c1 { width: 6% } .c2 { width: 31% } .c3 { width: 8% } .c4 { width: 9% } .c5 { width: 6% }
ol { margin: 1px 0; padding-left: 18px } ul { margin: 1px 0; padding-left: 13px }
.caution { border: 2px solid #111; padding: 3px 6px; margin: 4px 0; font-weight: bold }
.small { font-size: 7px; color: #333 } svg { width: 100%; height: auto }
@media print { body { margin: 0 auto } }
"""
_DASHES = ("", "6 3", "2 2", "8 3 2 3", "1 4", "10 4")
_TICKS_MIN = (0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 240, 480, 720, 1440)
_W, _H, _L, _B = 720, 132, 38, 20


def as_text(record: Record) -> str:
    """The page as plain text, at most 108 signs wide."""
    lines = [record.title, *([f"batch: {record.batch}"] if record.batch else []), _subject(record), "", *_wrap(f"NOTE: {record.caution}"), "",
             "Channels"]
    lines += [f"  {row}" for row in _channel_lines(record)]
    if record.understood:
        lines += ["", "What the reader understood of the log"]
        for item in record.understood:
            lines += _wrap(item, "  - ", "    ")
    if record.stages:
        lines += ["", "Stages (coldest channel)"] + [f"  {_stage_line(s)}" for s in record.stages]
    for heading, findings in _groups(record):
        lines += ["", heading]
        for f in findings:
            lines += _wrap(f"{f.verdict.upper()}  {f.what}", "  ", "    ")
            lines += _wrap("; ".join(filter(None, (_figures(f), f"edition: {f.edition}", *f.notes))), "    ", "    ")
    lines += ["", "Models beside the tables (not the rule)"]
    for m in record.models:
        lines += _wrap(f"{m.told} by the {m.what} ({m.channel})", "  ", "    ")
    for heading, items in (("", record.slower), ("What is missing", record.missing), ("Cautions", record.cautions),
                           ("Of the record", record.notes), ("Sources", record.sources)):
        if items:
            lines += ["", heading] if heading else []
            for item in items:
                lines += _wrap(item, "  - ", "    ")
    return "\n".join(lines) + "\n"


def as_html(record: Record) -> str:
    """A document that needs nothing else: no script, no link, no font."""
    rows = []
    for heading, findings in _groups(record):
        rows.append(f"<h2>{escape(heading)}</h2><table><tr><th class='c1'>shown</th><th class='c2'>what is printed</th>"
                    "<th class='n c3'>found</th><th class='n c4'>margin</th><th class='n c5'>cushion</th><th>[source] edition, notes</th></tr>")
        for f in findings:
            cushion = "" if f.cushion_K is None else f"{f.cushion_K:.1f} K"
            rows.append(f'<tr><td class="v">{escape(f.verdict)}</td><td>{escape(f.what)}</td><td class="n">{escape(_figure(f.found, f.unit))}</td>'
                        f'<td class="n">{escape(_figure(f.margin, "K" if f.unit == "°C" else f.unit, True))}</td><td class="n">{cushion}</td>'
                        f'<td class="small">{escape(f"[{record.sources.index(f.source) + 1}] " + "; ".join((f.edition, *f.notes)))}</td></tr>')
        rows.append("</table>")
    return "\n".join((
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{escape(record.title)}</title><style>{_STYLE}</style></head><body>',
        f"<h1>{escape(record.title)}</h1><p>{escape(f'batch: {record.batch}. ' if record.batch else '')}{escape(_subject(record))}</p>",
        f'<p class="caution">{escape(record.caution)}</p>', _drawing(record),
        f'<h2>What the reader understood of the log</h2><p>{escape("; ".join(record.understood))}</p>' if record.understood else "",
        '<div class="two">', _list("Channels", _channel_lines(record)), _list("Stages (coldest channel)", [_stage_line(s) for s in record.stages]), "</div>", *rows,
        '<div class="two">',
        _list("Models beside the tables (not the rule)", [*(f"{m.told} by the {m.what} ({m.channel})" for m in record.models), *record.slower]),
        _list("What is missing", record.missing), _list("Cautions", record.cautions), _list("Of the record", record.notes), '</div><div class="small two">',
        _list("Sources", record.sources, "ol"), "</div></body></html>")) + "\n"


def save_record(record: Record, path, overwrite: bool = False) -> Path:
    """Write the page as .txt or .html, whole or not at all. KitError if it exists and `overwrite` is not True, or if it cannot be written there."""
    forms = {".txt": as_text, ".html": as_html, ".htm": as_html}
    form = forms.get(Path(path).suffix.lower())
    return put(path, form(record) if form else "", forms, overwrite)


def _subject(record: Record) -> str:
    fat = "fat not given" if record.fat_pct is None else f"{record.fat_pct:g} % fat"
    off = record.probe_error_K
    error = "probe error not given" if off is None else f"cook judged {off:g} K lower and cooling {off:g} K higher than read"
    return f"{record.product}, {'cured with nitrite' if record.cured else 'not cured'}, {fat}; {error}; coldest channel: {record.coldest}"


def _channel_lines(record: Record) -> list[str]:
    return [f"{c.name}: {len(c.time_s):,} readings over {c.minutes:.1f} min, {c.temperature_C[0]:.1f} to {c.temperature_C[-1]:.1f} °C, "
            f"peak {c.peak_C:.1f} °C at {c.peak_s / 60:.1f} min" for c in record.channels]


def _stage_line(s) -> str:
    return f"{s.name}: {s.start_min:g} to {s.end_min:g} min, {s.start_C:.1f} to {s.end_C:.1f} °C"


def _groups(record: Record):
    groups = (("Cook, against the printed figures (cushion: by so much more may the probe have read too high)", record.findings),
              ("Cooling, against the published windows (alternatives; they differ)", record.cooling),
              ("History: no longer a rule", record.history))
    return [(heading, findings) for heading, findings in groups if findings]


def _figure(number: float | None, unit: str, signed: bool = False) -> str:
    if number is None:
        return ""
    return f"{number:{'+' if signed else ''}.{1 if abs(number) >= 10 else 2}f}".replace("-", "−") + f" {unit}"


def _figures(f) -> str:
    parts = [f"found {_figure(f.found, f.unit)}" if f.found is not None else "",
             f"margin {_figure(f.margin, 'K' if f.unit == '°C' else f.unit, True)}" if f.margin is not None else "",
             f"cushion {f.cushion_K:.1f} K" if f.cushion_K is not None else "", f"channel {f.channel}"]
    return ", ".join(filter(None, parts))


def _wrap(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False) or [first]


def _list(heading: str, items, kind: str = "ul") -> str:
    return f"<h2>{escape(heading)}</h2><{kind}>{''.join(f'<li>{escape(item)}</li>' for item in items)}</{kind}>" if items else ""


def _drawing(record: Record) -> str:
    """The traces by dash, with stages as bands and three published temperatures as thin lines. Highs and lows survive the thinning."""
    first, last = min(c.time_s[0] for c in record.channels), max(c.time_s[-1] for c in record.channels)
    low = min(0.0, min(float(c.temperature_C.min()) for c in record.channels))
    high = max(90.0, max(c.peak_C for c in record.channels) + 12)          # room for the names of the stages over the trace

    def x(t):
        return _L + (np.asarray(t, float) - first) / (last - first) * (_W - _L - 6)

    def y(temp):
        return _H - _B - (np.asarray(temp, float) - low) / (high - low) * (_H - _B - 8)

    parts = [f'<svg viewBox="0 0 {_W} {_H}" role="img" aria-label="{escape("; ".join(_channel_lines(record)), quote=True)}">']
    for n, s in enumerate(record.stages):
        a, b = float(x(60 * s.start_min)), float(x(60 * s.end_min))
        parts.append(f'<rect x="{a:.1f}" y="8" width="{b - a:.1f}" height="{_H - _B - 8}" fill="{"#eee" if n % 2 else "#f7f7f7"}"/>'
                     f'<text x="{a + 2:.1f}" y="16" font-size="8">{escape(s.name)}</text>')
    for temp, label in ((celsius(value("lethality_floor_F")), "130 °F"), (value("p_reference_C"), "70 °C"), (celsius(80.0), "80 °F")):
        parts.append(f'<line x1="{_L}" x2="{_W - 6}" y1="{y(temp):.1f}" y2="{y(temp):.1f}" stroke="#999" stroke-width="0.6"/>'
                     f'<text x="{_W - 8}" y="{y(temp) - 2:.1f}" font-size="8" text-anchor="end" fill="#555">{label}</text>')
    for temp in range(int(np.ceil(low / 20)) * 20, int(high) + 1, 20):
        parts.append(f'<text x="{_L - 4}" y="{y(temp) + 3:.1f}" font-size="8" text-anchor="end">{temp} °C</text>')
    every = next((m for m in _TICKS_MIN if (last - first) / 60 <= 8 * m), (last - first) / 240)
    for at in np.arange(np.ceil(first / 60 / every) * every, last / 60 + 1e-9, every):
        parts.append(f'<text x="{min(float(x(60 * at)), _W - 16):.1f}" y="{_H - 6}" font-size="8" text-anchor="middle">{at:g} min</text>')
    under = min(max(float(x(np.median([c.peak_s for c in record.channels]))) - 40, _L + 4), _W - 130)
    for n, c in enumerate(record.channels):
        keep = thinned(c.temperature_C)
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in zip(x(c.time_s[keep]), y(c.temperature_C[keep])))
        parts.append(f'<polyline points="{points}" fill="none" stroke="#111" stroke-width="1.2" stroke-dasharray="{_DASHES[n % len(_DASHES)]}"/>')
        low_y = _H - _B - 6 - 9 * n                # names below the peak, where no trace runs
        parts.append(f'<line x1="{under:.1f}" x2="{under + 26:.1f}" y1="{low_y - 3}" y2="{low_y - 3}" stroke="#111" stroke-width="1.2" stroke-dasharray="{_DASHES[n % len(_DASHES)]}"/>'
                     f'<text x="{under + 30:.1f}" y="{low_y}" font-size="8">{escape(c.name)}</text>')
    return "".join(parts) + "</svg>"


def thinned(temperature, bins: int = 300) -> np.ndarray:
    """Positions of the least and the greatest reading of each of `bins` pieces, ends kept."""
    n = len(temperature)
    if n <= 3 * bins:
        return np.arange(n)
    edges = np.linspace(0, n, bins + 1).astype(int)
    keep = [edges[i] + pick
            for i in range(bins) for pick in (temperature[edges[i]:edges[i + 1]].argmin(), temperature[edges[i]:edges[i + 1]].argmax())]
    return np.unique([0, *keep, n - 1])
