"""The record as one page: plain text, or HTML that stands alone and prints. Everything a person wrote is escaped."""

import textwrap
from html import escape
from pathlib import Path

import numpy as np

from kit.files import put
from kit.lethality.cautions import HISTORY
from kit.lethality.published import celsius
from kit.lethality.record import Record
from kit.reading.cells import dated
from kit.tables import value

WIDTH = 108
_STYLE = """
@page { margin: 6mm }
body { font: 9pt/1.1 Arial, "Liberation Sans", sans-serif; color: #111; max-width: 200mm; margin: 8px auto; padding: 0 6px }
h1 { font-size: 13pt; margin: 0 } h2 { font-size: 9pt; margin: 3px 0 0; break-after: avoid; border-bottom: 1px solid #999 } p { margin: 1px 0 }
table { border-collapse: collapse; width: 100% }
td, th { text-align: left; vertical-align: top; padding: 0 6px 0 0; border-bottom: 1px dotted #bbb }
td.n, th.n { text-align: right; white-space: nowrap } tr.h td { font-weight: bold; padding-top: 3px; border-bottom: 1px solid #999 } td.v { font-weight: bold; white-space: nowrap }
.two { display: flex; gap: 16px } .two > div:first-child { flex: 1 } .two > div + div { max-width: 42% }
ol, ul { margin: 1px 0; padding-left: 14px }
.caution, .alarm { border: 2px solid #111; padding: 1px 6px; margin: 3px 0; font-weight: bold } .alarm { border-width: 4px }
svg { width: 100%; height: auto; display: block } .sign td { border: 1px solid #111; height: 44px; padding: 0 4px; width: 25% }
@media print { body { margin: 0; max-width: none; padding: 0 } .screen { display: none } }
"""
_DASHES = ("", "6 3", "2 2", "8 3 2 3", "1 4", "10 4")
_TICKS_MIN = (0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 240, 480, 720, 1440)
_W, _H, _L, _B, _SIGN = 720, 112, 44, 16, 12
_BESIDE = ("come-up", "humidity")
_HISTORY = "History: no longer a rule"
_PLACES = (
    "Probe calibration: date, reference",
    "Reading in ice water; correction",
    "Read by (name)",
    "Signature, date",
)


def as_text(record: Record) -> str:
    """The page as plain text, at most 108 signs wide."""
    lines = [
        record.title,
        *([f"batch: {record.batch}"] if record.batch else []),
        *_wrap(_log_line(record)),
        *_wrap(_subject(record)),
        "",
        *(line for reason in record.implausible for line in _wrap(f"IMPLAUSIBLE LOG: {reason}")),
        *_wrap(f"NOTE: {record.caution}"),
        "",
        "Channels",
    ]
    lines += [f"  {row}" for row in _channel_lines(record)]
    if record.understood:
        lines += ["", "What the reader understood of the log"]
        for item in record.understood:
            lines += _wrap(item, "  - ", "    ")
    if record.stages:
        lines += ["", "Stages (coldest channel)"] + [f"  {_stage_line(s)}" for s in record.stages]
    for heading, findings in _groups(record):
        lines += ["", *_wrap(heading)]
        for f in findings:
            lines += _wrap(f"{f.verdict.upper()}  {f.what}", "  ", "    ")
            lines += _wrap(
                "; ".join(filter(None, (_figures(f), f"edition: {f.edition}", *f.notes))),
                "    ",
                "    ",
            )
    lines += ["", "Models beside the tables (not the rule)"]
    for m in record.models:
        lines += _wrap(f"{m.told} by the {m.what} ({m.channel})", "  ", "    ")
    for heading, items in (
        ("", record.slower),
        ("What is missing", record.missing),
        ("Cautions", record.cautions),
        ("Of the record", record.notes),
        ("Sources", record.sources),
    ):
        if items:
            lines += ["", heading] if heading else []
            for item in items:
                lines += _wrap(item, "  - ", "    ")
    return "\n".join(lines) + "\n"


def as_html(record: Record) -> str:
    """A document that needs nothing else: no script, no link, no font. The printed page holds the record; the screen also models, history, sources."""
    table = "".join(_rows(record, heading, findings) for heading, findings in _groups(record))
    sign = "".join(f"<td>{place}</td>" for place in _PLACES)
    stages = _list(
        "Stages (coldest channel)",
        [f"{n} {_stage_line(s)}" for n, s in enumerate(record.stages, 1)],
    )
    return (
        "\n".join(
            (
                f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{escape(record.title)}</title><style>{_STYLE}</style></head><body>',
                f"<h1>{escape(record.title)}</h1><p>{escape(f'batch: {record.batch}. ' if record.batch else '')}{escape(_log_line(record))}</p><p>{escape(_subject(record))}</p>",
                *(
                    f'<p class="alarm">IMPLAUSIBLE LOG: {escape(reason)}</p>'
                    for reason in record.implausible
                ),
                f'<p class="caution">{escape(record.caution)}</p>',
                _drawing(record),
                f'<div class="screen"><h2>What the reader understood of the log</h2><p>{escape("; ".join(record.understood))}</p></div>'
                if record.understood
                else "",
                f'<div class="two"><div>{_list("Channels", _channel_lines(record))}</div><div>{stages}</div></div>'
                if stages
                else _list("Channels", _channel_lines(record)),
                f"<table><tr><th>shown</th><th>published limit; edition</th><th class='n'>found</th><th class='n'>margin</th><th class='n'>probe error*</th></tr>{table}</table>",
                f"<p><strong>What is missing.</strong> {escape('; '.join(record.missing))}.</p>",
                f"<p><strong>Cautions.</strong> {' '.join(_screen_only(text, text == HISTORY) for text in record.cautions)}</p>",
                f'<table class="sign"><tr>{sign}</tr></table><div class="screen">',
                _list(
                    "Models beside the tables (not the rule)",
                    [
                        *(f"{m.told} by the {m.what} ({m.channel})" for m in record.models),
                        *record.slower,
                    ],
                ),
                _list("Of the record", record.notes),
                _list("Sources", record.sources, "ol"),
                "</div></body></html>",
            )
        )
        + "\n"
    )


def _rows(record: Record, heading: str, findings) -> str:
    rows = [f'<tr class="h"><td colspan="5">{escape(heading)}</td></tr>']
    for f, *more in _windows_together(findings):
        parts = (f, *more)
        what = "; then ".join((f.what, *(part.what.split(": ", 1)[1] for part in more)))
        notes = dict.fromkeys(note for part in parts for note in part.notes)
        why = (
            f.notes[-1] if f.met is None and f.notes else ""
        )  # where there is no verdict, the last note says why: paper keeps that one
        said = escape(f"{what}; {f.edition}") + "".join(
            _screen_only(f"; {note}", note != why) for note in notes
        )
        numbers = _screen_only(
            " "
            + " ".join(
                f"[{number}]"
                for number in dict.fromkeys(record.sources.index(part.source) + 1 for part in parts)
            )
        )
        found, margin = (
            "<br>".join(escape(text) for text in texts)
            for texts in (
                [_figure(part.found, part.unit) for part in parts],
                [
                    _figure(part.margin, "K" if part.unit == "°C" else part.unit, True)
                    for part in parts
                ],
            )
        )
        cushion = "" if f.cushion_K is None else f"{f.cushion_K:.1f} K"
        rows.append(
            f'<tr><td class="v">{escape(f.verdict)}</td><td>{said}{numbers}</td><td class="n">{found}</td><td class="n">{margin}</td><td class="n">{cushion}</td></tr>'
        )
    return f"<tbody{' class=screen' if heading == _HISTORY else ''}>{''.join(rows)}</tbody>"


def _windows_together(findings) -> list[list]:
    """The windows of one way of chilling in one line, where verdict, edition and reason are the same."""
    groups: list[list] = []
    for f in findings:
        last = groups[-1][-1] if groups else None
        if (
            last
            and f.kind == last.kind == "cooling"
            and (f.option, f.edition, f.met) == (last.option, last.edition, last.met)
            and (f.met is not None or f.notes[-1:] == last.notes[-1:])
        ):
            groups[-1].append(f)
        else:
            groups.append([f])
    return groups


def _screen_only(text: str, only: bool = True) -> str:
    return f'<span class="screen">{escape(text)}</span>' if only else escape(text)


def save_record(record: Record, path, overwrite: bool = False) -> Path:
    """Write the page as .txt or .html, whole or not at all. KitError if it exists and `overwrite` is not True, or if it cannot be written there."""
    forms = {".txt": as_text, ".html": as_html, ".htm": as_html}
    form = forms.get(Path(path).suffix.lower())
    return put(path, form(record) if form else "", forms, overwrite)


def _log_line(record: Record) -> str:
    start = record.start or "____________________"
    return f"log: {record.file or '____________________'}; first reading: {start}" + (
        "" if not record.start or dated(record.start) else " (date: ______________)"
    )


def _subject(record: Record) -> str:
    fat = "fat not given" if record.fat_pct is None else f"{record.fat_pct:g} % fat"
    off = record.probe_error_K
    error = (
        "probe error not given"
        if off is None
        else f"cook judged {off:g} K lower and cooling {off:g} K higher than read"
    )
    return f"{record.product}, {'cured with nitrite' if record.cured else 'not cured'}, {fat}; {error}; coldest channel: {record.coldest}"


def _channel_lines(record: Record) -> list[str]:
    return [
        f"{c.name}: {len(c.time_s):,} readings over {c.minutes:.1f} min, {c.temperature_C[0]:.1f} to {c.temperature_C[-1]:.1f} °C, "
        f"peak {c.peak_C:.1f} °C at {c.peak_s / 60:.1f} min"
        for c in (*record.channels, *filter(None, (record.smokehouse,)))
    ]


def _stage_line(s) -> str:
    return f"{s.name}: {s.start_min:g} to {s.end_min:g} min, {s.start_C:.1f} to {s.end_C:.1f} °C"


def _groups(record: Record):
    """(heading, findings): what the plan names first, then the alternatives; without a plan all are alternatives, and none is counted."""
    groups, beside = [], [f for f in record.findings if f.kind in _BESIDE]
    for what, findings in (
        ("Cook", [f for f in record.findings if f.kind not in _BESIDE]),
        ("Cooling", record.cooling),
    ):
        mine = [f for f in findings if f.option in record.named]
        groups += [
            (f"{what}: the limit that the plan names", mine),
            (
                f"{what}: {'other ' if mine else ''}published limits, alternatives{'' if mine else '; the one that the plan names decides'}",
                [f for f in findings if f not in mine],
            ),
        ]
    groups.insert(
        2, ("Cook: published beside the limit (options of humidity are alternatives)", beside)
    )
    groups = [
        (f"{heading} (*how much the probes may read too high)" if n == 0 else heading, findings)
        for n, (heading, findings) in enumerate(
            (heading, findings) for heading, findings in groups if findings
        )
    ]
    return [*groups, *([(_HISTORY, record.history)] if record.history else [])]


def _figure(number: float | None, unit: str, signed: bool = False) -> str:
    if number is None:
        return ""
    return (
        f"{number:{'+' if signed else ''}.{1 if abs(number) >= 10 else 2}f}".replace("-", "−")
        + f" {unit}"
    )


def _figures(f) -> str:
    parts = [
        f"found {_figure(f.found, f.unit)}" if f.found is not None else "",
        f"margin {_figure(f.margin, 'K' if f.unit == '°C' else f.unit, True)}"
        if f.margin is not None
        else "",
        f"allowable probe error {f.cushion_K:.1f} K" if f.cushion_K is not None else "",
        f"channel {f.channel}",
    ]
    return ", ".join(filter(None, parts))


def _wrap(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(
        text, WIDTH, initial_indent=first, subsequent_indent=rest, break_on_hyphens=False
    ) or [first]


def _list(heading: str, items, kind: str = "ul") -> str:
    return (
        f"<h2>{escape(heading)}</h2><{kind}>{''.join(f'<li>{escape(item)}</li>' for item in items)}</{kind}>"
        if items
        else ""
    )


def _drawing(record: Record) -> str:
    """The traces by dash, with stages as bands and three published temperatures as thin lines. Highs and lows survive the thinning."""
    drawn = (*record.channels, *filter(None, (record.smokehouse,)))
    first, last = (
        min(c.time_s[0] for c in record.channels),
        max(c.time_s[-1] for c in record.channels),
    )
    low = min(0.0, min(float(c.temperature_C.min()) for c in drawn))
    high = max(
        90.0, max(c.peak_C for c in drawn) + 16
    )  # room for the numbers of the stages over the trace

    def x(t):
        return _L + (np.asarray(t, float) - first) / (last - first) * (_W - _L - 6)

    def y(temp):
        return _H - _B - (np.asarray(temp, float) - low) / (high - low) * (_H - _B - 8)

    parts = [
        f'<svg viewBox="0 0 {_W} {_H + 14 * ((len(record.channels) + (record.smokehouse is not None) + 3) // 4)}" role="img" aria-label="{escape("; ".join(_channel_lines(record)), quote=True)}">'
    ]
    for n, s in enumerate(record.stages):
        a, b = float(x(60 * s.start_min)), float(x(60 * s.end_min))
        parts.append(
            f'<rect x="{a:.1f}" y="8" width="{b - a:.1f}" height="{_H - _B - 8}" fill="{"#eee" if n % 2 else "#f7f7f7"}"/>'
            f'<text x="{(a + b) / 2:.1f}" y="18" font-size="{_SIGN}" text-anchor="middle">{n + 1}</text>'
        )
    for temp, label in (
        (celsius(value("lethality_floor_F")), "130 °F"),
        (value("p_reference_C"), "70 °C"),
        (celsius(80.0), "80 °F"),
    ):
        parts.append(
            f'<line x1="{_L}" x2="{_W - 6}" y1="{y(temp):.1f}" y2="{y(temp):.1f}" stroke="#999" stroke-width="0.6"/>'
            f'<text x="{_W - 8}" y="{y(temp) - 2:.1f}" font-size="{_SIGN}" text-anchor="end" fill="#555">{label}</text>'
        )
    for temp in range(int(np.ceil(low / 40)) * 40, int(high) + 1, 40):
        parts.append(
            f'<text x="{_L - 4}" y="{y(temp) + 4:.1f}" font-size="{_SIGN}" text-anchor="end">{temp} °C</text>'
        )
    every = next((m for m in _TICKS_MIN if (last - first) / 60 <= 8 * m), (last - first) / 240)
    for at in np.arange(np.ceil(first / 60 / every) * every, last / 60 + 1e-9, every):
        parts.append(
            f'<text x="{min(max(float(x(60 * at)), _L + 22), _W - 22):.1f}" y="{_H - 4}" font-size="{_SIGN}" text-anchor="middle">{at:g} min</text>'
        )
    for n, c in enumerate(drawn):
        inside = np.flatnonzero((c.time_s >= first) & (c.time_s <= last))
        keep = inside[thinned(c.temperature_C[inside])] if inside.size else inside
        points = " ".join(
            f"{a:.1f},{b:.1f}" for a, b in zip(x(c.time_s[keep]), y(c.temperature_C[keep]))
        )
        dash = _DASHES[n % len(_DASHES)] if c is not record.smokehouse else ""
        look = f'fill="none" stroke="{"#111" if c is not record.smokehouse else "#999"}" stroke-width="1.3" stroke-dasharray="{dash}"'
        at, down = _W * (n % 4) / 4 + 4, _H + 10 + 14 * (n // 4)
        parts.append(
            f'<polyline points="{points}" {look}/><line x1="{at:.0f}" x2="{at + 26:.0f}" y1="{down - 4}" y2="{down - 4}" {look}/>'
            f'<text x="{at + 30:.0f}" y="{down}" font-size="{_SIGN}">{escape(c.name if len(c.name) < 24 else c.name[:22] + " …")}</text>'
        )
    return "".join(parts) + "</svg>"


def thinned(temperature, bins: int = 300) -> np.ndarray:
    """Positions of the least and the greatest reading of each of `bins` pieces, ends kept."""
    n = len(temperature)
    if n <= 3 * bins:
        return np.arange(n)
    edges = np.linspace(0, n, bins + 1).astype(int)
    keep = [
        edges[i] + pick
        for i in range(bins)
        for pick in (
            temperature[edges[i] : edges[i + 1]].argmin(),
            temperature[edges[i] : edges[i + 1]].argmax(),
        )
    ]
    return np.unique([0, *keep, n - 1])
