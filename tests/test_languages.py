"""Records in the languages of the trade: what is read as it is, and what is asked. Every file is invented; headers were written down by hand, not taken from the table of words."""

import csv
import io
from functools import cache
from pathlib import Path

import numpy as np
import pytest

from kit.reading.records import read_records

HERE = Path(__file__).parent / "languages"
LINE = (("chop", "in"), ("chop", "addition"), ("chop", "out"), ("stuff", "out"), ("cook", "in"))
LINE += (("cook", "out"), ("chill", "out"), ("pack", "out"))
SHARES = (300, 90, 388, 383, 382.5, 345, 341, 338)
PLAIN = {
    "en A": "Batch|Date|Product|Cutter in (kg)|Ice (kg)|Cutter out (kg)|Stuffed out (kg)|Smokehouse in (kg)|Smokehouse out (kg)|Chilled out (kg)|Packed (kg)|Target (kg)",
    "de A": "Chargennummer|Datum|Sorte|Kutter Einsatz kg|Eis kg|Kutter Ausgang kg|Füllen Ausgang kg|Kochen Eingang kg|Kochen Ausgang kg|Kühlen Ausgang kg|Verpackt kg|Sollgewicht kg",
    "es A": "Nº de lote|Fecha|Producto|Entrada cutter (kg)|Hielo (kg)|Salida cutter (kg)|Salida embutido (kg)|Entrada cocción (kg)|Salida cocción (kg)|Salida enfriado (kg)|Envasado (kg)|Previsto (kg)",
    "fr A": "N° de lot|Date|Produit|Entrée cutter (kg)|Glace (kg)|Sortie cutter (kg)|Sortie embossage (kg)|Entrée cuisson (kg)|Sortie cuisson (kg)|Sortie refroidissement (kg)|Conditionné (kg)|Objectif (kg)",
    "it A": "N. lotto|Data|Prodotto|Cutter entrata kg|Ghiaccio kg|Cutter uscita kg|Insacco uscita kg|Cottura entrata kg|Cottura uscita kg|Raffreddamento uscita kg|Confezionato kg|Previsto kg",
    "nl A": "Batchnummer|Datum|Product|Cutter in kg|IJs kg|Cutter uit kg|Stoppen uit kg|Koken in kg|Koken uit kg|Koelen uit kg|Verpakt kg|Doel kg",
    "pl A": "Nr partii|Data|Produkt|Kuter wejście (kg)|Lód (kg)|Kuter wyjście (kg)|Nadziewanie wyjście (kg)|Parzenie wejście (kg)|Parzenie wyjście (kg)|Chłodzenie wyjście (kg)|Zapakowano (kg)|Plan (kg)",
    "da A": "Batchnr.|Dato|Produkt|Hurtighakker ind (kg)|Is (kg)|Hurtighakker ud (kg)|Stopning ud (kg)|Kogning ind (kg)|Kogning ud (kg)|Køling ud (kg)|Pakket (kg)|Mål (kg)",
    "en B": "Batch|Date|Product|Batter kg|Stuffed kg|Smoked kg|Cooked kg|Chilled kg|Packed kg",
    "de B": "Charge|Datum|Artikel|Brät kg|Gefüllt kg|Geräuchert kg|Gebrüht kg|Gekühlt kg|Verpackt kg",
    "es B": "Lote|Fecha|Producto|Emulsión kg|Embutido kg|Ahumado kg|Cocido kg|Enfriado kg|Envasado kg",
    "fr B": "Lot|Date|Produit|Mêlée kg|Embossé kg|Fumé kg|Cuit kg|Refroidi kg|Emballé kg",
    "it B": "Lotto|Data|Prodotto|Impasto kg|Insaccato kg|Affumicato kg|Cotto kg|Raffreddato kg|Confezionato kg",
    "nl B": "Charge|Datum|Product|Deeg kg|Gestopt kg|Gerookt kg|Gekookt kg|Gekoeld kg|Verpakt kg",
    "pl B": "Partia|Data|Produkt|Farsz kg|Nadziane kg|Uwędzone kg|Parzone kg|Schłodzone kg|Zapakowane kg",
    "da B": "Batch|Dato|Produkt|Fars kg|Stoppet kg|Røget kg|Kogt kg|Kølet kg|Pakket kg",
    "en C": "Batch|Date|Time|Stage|In/Out|Gross|Tare|Unit|chopping|stuffing|smoking and cooking|chilling|packing|in|out",
    "de C": "Charge|Datum|Uhrzeit|Prozessschritt|Ein/Aus|Brutto|Tara|Einheit|Kuttern|Füllen|Räuchern und Brühen|Kühlen|Verpacken|Ein|Aus",
    "es C": "Lote|Fecha|Hora|Etapa|Entrada/Salida|Peso bruto|Tara|Unidad|Cutter|Embutido|Ahumado y cocción|Enfriado|Envasado|Entrada|Salida",
    "fr C": "Lot|Date|Heure|Étape|Entrée/Sortie|Poids brut|Tare|Unité|Cutter|Embossage|Fumage et cuisson|Refroidissement|Conditionnement|Entrée|Sortie",
    "it C": "Lotto|Data|Ora|Fase|Entrata/Uscita|Peso lordo|Tara|Unità|Cutter|Insacco|Affumicatura e cottura|Raffreddamento|Confezionamento|Entrata|Uscita",
    "nl C": "Batch|Datum|Tijd|Processtap|In/Uit|Bruto|Tarra|Eenheid|Cutteren|Stoppen|Roken en koken|Koelen|Verpakken|In|Uit",
    "pl C": "Partia|Data|Godzina|Etap|Wejście/Wyjście|Brutto|Tara|Jednostka|Kutrowanie|Nadziewanie|Wędzenie i parzenie|Chłodzenie|Pakowanie|Wejście|Wyjście",
    "da C": "Batch|Dato|Kl.|Procestrin|Ind/Ud|Brutto|Tara|Enhed|Lynhakning|Stopning|Røgning og kogning|Køling|Pakning|Ind|Ud",
}
"""headers of a plain file: A in and out, B one weight after each stage, C a row per weighing (there the words for stages and directions stand behind the headers)"""
TOTAL = {"en": ("Total", "Week 23"), "de": ("Summe", "KW 23"), "es": ("TOTAL", "Subtotal sem. 23")}
TOTAL |= {"fr": ("Total", "Sous-total sem. 23"), "it": ("Totale", "Sett. 23")}
TOTAL |= {"nl": ("Totaal", "Weektotaal 23"), "pl": ("Razem", "Tydz. 23"), "da": ("I alt", "Uge 23")}
ENCODING = {"de": "cp1252", "es": "cp1252", "it": "cp1252", "pl": "cp1250", "da": "utf-16"}


def plain_file(which: str) -> tuple[bytes, dict[tuple[str, str, str], float]]:
    """The file as a plant of that language would export it, and its truth: (batch, stage, kind) -> kg."""
    language, layout = which.split()
    heads, rng = PLAIN[which].split("|"), np.random.default_rng(len(which) + ord(language[0]))
    comma, truth, rows = language != "en", {}, []
    day = {"en": "2026-06-{:02d}", "fr": "{:02d}/06/2026", "es": "{:02d}/06/26"}

    def shown(kg: float) -> str:
        text = f"{kg:,.1f}" if language in ("fr", "pl") else f"{kg:.1f}"
        return text.replace(",", "\u00a0").replace(".", ",") if comma else text

    used = [n for n, key in enumerate(LINE) if layout != "B" or key[1] == "out"]
    for b in range(13):
        name = f"{300 + b}" if language in ("fr", "pl") else f"K-{26000 + b}"
        date = day.get(language, "{:02d}.06.2026").format(3 + b)
        scatter = rng.normal(1, 0.08) * (1 + rng.normal(0, 0.004, len(LINE)))
        kg = {LINE[n]: round(3.1 * SHARES[n] * scatter[n], 1) for n in used}
        truth |= {(name, *key): weight for key, weight in kg.items()}
        weights = list(kg.values())
        if layout == "C":
            words = dict(zip(("chop", "stuff", "cook", "chill", "pack", "in", "out"), heads[8:]))
            for n, (stage, kind) in enumerate(key for key in kg if key[1] != "addition"):
                clock = f"{6 + n:02d}.15" if language == "da" else f"{6 + n:02d}:15"
                gross = shown(kg[stage, kind] + 42.5), shown(42.5), "kg"
                rows.append([name, date, clock, words[stage], words[kind], *gross])
            truth.pop((name, "chop", "addition"))
            continue
        if layout == "B":
            weights.insert(2, round((weights[1] + weights[2]) / 2, 1))
        rows.append([name, date, "Wiener", *map(shown, weights)])
        rows[-1] += [shown(1000.0)] if layout == "A" else []
    if layout != "C":
        sums = np.sum([[_number(x) for x in row[3:]] for row in rows], axis=0)
        week = np.sum([[_number(x) for x in row[3:]] for row in rows[:6]], axis=0)
        total, part = TOTAL[language]
        rows.insert(6, [part, "", "", *map(shown, week)])
        rows.append([total, "", "", *map(shown, sums)])
    out = io.StringIO()
    csv.writer(out, delimiter=";" if comma else ",").writerows(
        [heads[:8] if layout == "C" else heads, *rows]
    )
    return out.getvalue().encode(ENCODING.get(language, "utf-8-sig")), truth


def _number(text: str) -> float:
    return float(text.replace("\u00a0", "").replace(",", "."))


def weights_of(records) -> dict[tuple[str, str, str], float]:
    sums: dict[tuple[str, str, str], float] = {}
    for batch, stage, kind, kg in records.tidy[["batch", "stage", "kind", "kg"]].to_numpy():
        sums[batch, stage, kind] = sums.get((batch, stage, kind), 0.0) + kg
    return sums


@cache
def example_truth() -> dict[str, dict[tuple[str, str, str], float]]:
    truth: dict[str, dict[tuple[str, str, str], float]] = {}
    with (HERE / "truth.csv").open(encoding="utf-8", newline="") as handle:
        for row in csv.DictReader(handle):
            own = truth.setdefault(row["file"], {})
            key = row["batch"], row["stage"], row["kind"]
            own[key] = own.get(key, 0.0) + float(row["kg"])
    return truth


@pytest.mark.parametrize("name", sorted(p.name for p in HERE.glob("*_*.csv")))
def test_example_files_are_read_weight_by_weight(name):
    content = (HERE / name).read_text(encoding="utf-8-sig").encode(ENCODING.get(name[:2], "utf-8"))
    records = read_records(content, name=name)
    assert weights_of(records) == pytest.approx(example_truth()[name[:4]])


@pytest.mark.parametrize("which", PLAIN)
def test_plain_files_are_read_without_editing(which):
    content, truth = plain_file(which)
    assert weights_of(read_records(content, name="plain.csv")) == pytest.approx(truth)
