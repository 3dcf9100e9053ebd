"""The record as one page: HTML that stands alone and prints. Everything a person wrote is escaped."""

from html import escape

import numpy as np

from kit.lab.pages import listed
from kit.lethality import Record
from kit.lethality.published import celsius
from kit.tables import value

_STYLE = """
@page { margin: 6mm }
body { font: 9pt/1.1 Arial, "Liberation Sans", sans-serif; color: #111; max-width: 200mm; margin: 8px auto; padding: 0 6px }
h1 { font-size: 13pt; margin: 0 } h2 { font-size: 9pt; margin: 3px 0 0; break-after: avoid; border-bottom: 1px solid #999 } p { margin: 1px 0 }
table { border-collapse: collapse; width: 100% }
td, th { text-align: left; vertical-align: top; padding: 0 6px 0 0; border-bottom: 1px dotted #bbb }
td.n, th.n { text-align: right; white-space: nowrap } tr.h td { font-weight: bold; padding-top: 3px; border-bottom: 1px solid #999 } td.v { font-weight: bold; white-space: nowrap }
ol, ul { margin: 1px 0; padding-left: 14px }
.caution, .alarm { border: 2px solid #111; padding: 1px 6px; margin: 3px 0; font-weight: bold } .alarm { border-width: 4px }
svg { width: 100%; height: auto; display: block } .sign td { border: 1px solid #111; height: 44px; padding: 0 4px; width: 25% }
@media print { body { margin: 0; max-width: none; padding: 0 } .screen { display: none } }
"""
TITLE = "Temperature record: lethality and cooling"
_DASHES = ("", "6 3", "2 2", "8 3 2 3", "1 4", "10 4")
_TICKS_MIN = (0.5, 1, 2, 5, 10, 15, 20, 30, 60, 120, 240, 480, 720, 1440)
_W, _H, _L, _B, _SIGN = 720, 112, 44, 16, 12
_PLACES = (
    "Probe calibration: date, reference",
    "Reading in ice water; correction",
    "Read by (name)",
    "Signature, date",
)


def as_html(record: Record) -> str:
    """A document that needs nothing else: no script, no link, no font. The printed page holds the record; the screen also how the log was read, and sources."""
    batch = f"batch: {record.batch}. " if record.batch else ""
    table = "".join(_rows(record, heading, findings) for heading, findings in _groups(record))
    channels = listed("Channels", _channel_lines(record))
    understood = ""
    if record.understood:
        head = "<h2>How the log was read</h2>"
        said = escape("; ".join(record.understood))
        understood = f'<div class="screen">{head}<p>{said}</p></div>'
    parts = (
        f'<!DOCTYPE html><html lang="en"><head><meta charset="utf-8"><title>{TITLE}</title><style>{_STYLE}</style></head><body>',
        f"<h1>{TITLE}</h1><p>{escape(batch + _log_line(record))}</p><p>{escape(_subject(record))}</p>",
        *(
            f'<p class="alarm">IMPLAUSIBLE LOG: {escape(reason)}</p>'
            for reason in record.implausible
        ),
        f'<p class="caution">{escape(record.caution)}</p>',
        _drawing(record),
        understood,
        channels,
        f"<table><tr><th>result</th><th>published limit; edition</th><th class='n'>found</th><th class='n'>margin</th></tr>{table}</table>",
        f"<p><strong>Missing information.</strong> {escape('; '.join(record.missing))}.</p>",
        f"<p><strong>Cautions.</strong> {escape(' '.join(record.cautions))}</p>",
        f'<table class="sign"><tr>{"".join(f"<td>{place}</td>" for place in _PLACES)}</tr></table><div class="screen">',
        listed("Notes on the record", record.own_notes),
        listed("Sources", record.sources, "ol"),
        "</div></body></html>",
    )
    return "\n".join(parts) + "\n"


def _rows(record: Record, heading: str, findings) -> str:
    rows = [f'<tr class="h"><td colspan="4">{escape(heading)}</td></tr>']
    for f, *more in _windows_together(findings):
        parts = (f, *more)
        what = "; then ".join((f.what, *(part.what.split(": ", 1)[1] for part in more)))
        # where there is no verdict, the last note says why: paper keeps that one
        why = f.notes[-1] if f.met is None and f.notes else ""
        said = escape(f"{what}; {f.published.edition}")
        for note in dict.fromkeys(note for part in parts for note in part.notes):
            said += _screen_only(f"; {note}", note != why)
        places = dict.fromkeys(record.sources.index(part.sources[0]) + 1 for part in parts)
        said += _screen_only(" " + " ".join(f"[{place}]" for place in places))
        found = "<br>".join(escape(_figure(part.found, part.unit)) for part in parts)
        margin = "<br>".join(escape(_figure(part.margin, part.margin_unit, True)) for part in parts)
        figures = "".join(f'<td class="n">{text}</td>' for text in (found, margin))
        rows.append(f'<tr><td class="v">{escape(f.verdict)}</td><td>{said}</td>{figures}</tr>')
    return f"<tbody>{''.join(rows)}</tbody>"


def _windows_together(findings) -> list[list]:
    """The windows of one way of chilling in one line, where verdict, edition and reason are the same."""
    groups: list[list] = []
    for f in findings:
        last = groups[-1][-1] if groups else None
        if (
            last
            and f.kind == last.kind == "cooling"
            and (f.option, f.published.edition, f.met)
            == (last.option, last.published.edition, last.met)
            and (f.met is not None or f.notes[-1:] == last.notes[-1:])
        ):
            groups[-1].append(f)
        else:
            groups.append([f])
    return groups


def _screen_only(text: str, only: bool = True) -> str:
    return f'<span class="screen">{escape(text)}</span>' if only else escape(text)


def _log_line(record: Record) -> str:
    from kit.reading.dates import dated  # loads what reads tables

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
        else f"probe error {off:g} K: subtracted for cooking, added for cooling"
    )
    return f"{record.product}, {'cured with nitrite' if record.cured else 'not cured'}, {fat}; {error}; coldest channel: {record.coldest}"


def _channel_lines(record: Record) -> list[str]:
    return [
        f"{c.name}: {len(c.time_s):,} readings over {c.minutes:.1f} min, {c.temperature_C[0]:.1f} to {c.temperature_C[-1]:.1f} °C, "
        f"peak {c.peak_C:.1f} °C at {c.peak_s / 60:.1f} min"
        for c in (*record.channels, *filter(None, (record.smokehouse,)))
    ]


def _groups(record: Record) -> list[tuple[str, list]]:
    """(heading, findings): what the plan names first, then the alternatives; without a plan all are alternatives, and none is counted."""

    def by_plan(what, findings):
        mine = [f for f in findings if f.option in record.named]
        rest = [f for f in findings if f.option not in record.named]
        other, decides = ("other ", "") if mine else ("", "; the limit named in the plan applies")
        return [
            (f"{what}: limit named in the plan", mine),
            (f"{what}: {other}published limits, alternatives{decides}", rest),
        ]

    groups = [
        *by_plan("Cooking", [f for f in record.findings if f.kind != "come-up"]),
        ("Cooking: published with the limit", [f for f in record.findings if f.kind == "come-up"]),
        *by_plan("Cooling", record.cooling),
    ]
    return [(heading, findings) for heading, findings in groups if findings]


def _figure(number: float | None, unit: str, signed: bool = False) -> str:
    if number is None:
        return ""
    sign, digits = "+" if signed else "", 1 if abs(number) >= 10 else 2
    return f"{number:{sign}.{digits}f} {unit}".replace("-", "−")


def _text(x, y, words, anchor="middle", more="") -> str:
    place = f'x="{x:.1f}" y="{y:.1f}" font-size="{_SIGN}" text-anchor="{anchor}"'
    return f"<text {place}{more}>{escape(words)}</text>"


def _drawing(record: Record) -> str:
    """The traces by dash, with three published temperatures as thin lines. Highs and lows survive the thinning."""
    drawn = (*record.channels, *filter(None, (record.smokehouse,)))
    first = min(held.time_s[0] for held in record.channels)
    last = max(held.time_s[-1] for held in record.channels)
    low = min(0.0, *(float(held.temperature_C.min()) for held in drawn))
    high = max(90.0, *(held.peak_C + 4 for held in drawn))

    def x(t):
        return _L + (np.asarray(t, float) - first) / (last - first) * (_W - _L - 6)

    def y(temp):
        return _H - _B - (np.asarray(temp, float) - low) / (high - low) * (_H - _B - 8)

    height, says = _H + 14 * ((len(drawn) + 3) // 4), "; ".join(_channel_lines(record))
    parts = [f'<svg viewBox="0 0 {_W} {height}" role="img" aria-label="{escape(says)}">']
    for temp, label in (
        (celsius(value("lethality_floor_F")), "130 °F"),
        (value("p_reference_C"), "70 °C"),
        (celsius(80.0), "80 °F"),
    ):
        line = f'x1="{_L}" x2="{_W - 6}" y1="{y(temp):.1f}" y2="{y(temp):.1f}"'
        parts.append(f'<line {line} stroke="#999" stroke-width="0.6"/>')
        parts.append(_text(_W - 8, y(temp) - 2, label, "end", ' fill="#555"'))
    for temp in range(int(np.ceil(low / 40)) * 40, int(high) + 1, 40):
        parts.append(_text(_L - 4, y(temp) + 4, f"{temp} °C", "end"))
    every = next((m for m in _TICKS_MIN if (last - first) / 60 <= 8 * m), (last - first) / 240)
    for at in np.arange(np.ceil(first / 60 / every) * every, last / 60 + 1e-9, every):
        parts.append(_text(np.clip(x(60 * at), _L + 22, _W - 22), _H - 4, f"{at:g} min"))
    for n, held in enumerate(drawn):
        inside = np.flatnonzero((held.time_s >= first) & (held.time_s <= last))
        keep = inside[thinned(held.temperature_C[inside])] if inside.size else inside
        places = zip(x(held.time_s[keep]), y(held.temperature_C[keep]))
        points = " ".join(f"{a:.1f},{b:.1f}" for a, b in places)
        own = held is not record.smokehouse
        dash, ink = (_DASHES[n % len(_DASHES)], "#111") if own else ("", "#999")
        look = f'fill="none" stroke="{ink}" stroke-width="1.3" stroke-dasharray="{dash}"'
        at, down = _W * (n % 4) / 4 + 4, _H + 10 + 14 * (n // 4)
        key = f'x1="{at:.0f}" x2="{at + 26:.0f}" y1="{down - 4}" y2="{down - 4}"'
        name = held.name if len(held.name) < 24 else held.name[:22] + " …"
        parts.append(f'<polyline points="{points}" {look}/><line {key} {look}/>')
        parts.append(_text(at + 30, down, name, "start"))
    return "".join(parts) + "</svg>"


def thinned(temperature, bins: int = 300) -> np.ndarray:
    """Positions of the least and the greatest reading of each of `bins` pieces, ends kept."""
    n = len(temperature)
    if n <= 3 * bins:
        return np.arange(n)
    keep = [0, n - 1]
    edges = np.linspace(0, n, bins + 1).astype(int)
    for piece in np.split(np.arange(n), edges[1:-1]):
        keep += [piece[temperature[piece].argmin()], piece[temperature[piece].argmax()]]
    return np.unique(keep)
