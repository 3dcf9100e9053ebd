"""The model on one batter, step by step, so that a pencil can redo it."""

from collections.abc import Iterator
from typing import Any

from kit.emulsion import model
from kit.emulsion.batter import Batter
from kit.emulsion.model import BatterState
from kit.emulsion.parameters import Parameters
from kit.tables import value
from kit.working import Step, steps_from

BINDERS = {"n": ("nonmeat_protein", "nonmeat"), "s": ("starch", "starch"), "f": ("fibre", "fibre")}
"""letter of a binder in the formulas -> its field of Batter, and the stem of its two fields of Parameters"""


def _symbols(b: Batter, p: Parameters, s: BatterState) -> dict[str, Any]:
    """symbol -> value, unit, meaning."""
    gains = {letter: _binder(b, p, letter) for letter in BINDERS}
    return {
        "P": (b.protein_pct, "g", "meat protein, collagen counted"),
        "c": (b.collagen_pct_of_protein, "%", "collagen"),
        "e": (p.nonmeat_worth, "", "worth of non-meat protein"),
        "Pn": (b.nonmeat_protein_pct, "g", "non-meat protein"),
        "S": (b.salt_pct, "g", "salt"),
        "M": (value("nacl_g_per_mol"), "g/mol"),
        "W": (b.water_pct, "g", "water"),
        "F": (b.fat_pct, "g", "fat"),
        "ph": (b.phosphate_pct, "%", "phosphate"),
        "ps": (p.phosphate_scale_pct, "%", "levels off over"),
        "h": (float(model.phosphate_effect(b, p)), "", "phosphate at work"),
        "E0": (p.dissolved_share_salt, "", "most by salt alone"),
        "E1": (p.dissolved_share_phosphate, "", "most with phosphate"),
        "I": (s.salt_mol_per_kg_water, "mol/kg"),
        "n": (p.salt_steepness, "", "steepness"),
        "I5": (p.half_salt_mol_per_kg, "mol/kg", "half of it dissolves"),
        "E": (float(model.dissolved_share(b, p)), "", "share that dissolves"),
        "my": (p.myofibrillar_share, "", "salt-soluble share"),
        "nf": (p.nonmeat_film_share, "", "share of non-meat protein that makes films"),
        "Pf": (s.functional_protein_g, "g", "protein that can bind"),
        "Ps": (s.dissolved_protein_g, "g", "protein in solution"),
        "x": (p.intact_cell_share, "", "still in cells"),
        "r": (p.fat_density_kg_per_L, "kg/L"),
        "d": (b.drop_um, "µm"),
        "A": (s.fat_area_m2, "m2"),
        "g": (p.film_mg_per_m2, "mg/m2"),
        "Pc": (s.film_protein_g, "g", "protein to coat it"),
        "cap": (p.margin_cap, ""),
        "Te": (b.end_C, "°C", "end of chopping"),
        "Rf": (p.fat_load_limit, "g/g"),
        "wf": (p.fat_load_width, "g/g"),
        "mP": (s.coverage_margin, "", "coverage margin"),
        "mT": (s.temperature_margin, "", "temperature margin"),
        "mR": (s.load_margin, "", "fat load margin"),
        "k": (p.blend_sharpness, "", "how far the weakest rules"),
        "m": (s.fat_margin, "", "fat margin"),
        "a10": (float(model.logit(p.melted_share_10C)), "", "log-odds at 10 °C"),
        "a40": (float(model.logit(p.melted_share_40C)), "", "log-odds at 40 °C"),
        "Tc": (b.core_C, "°C", "core"),
        "L": (float(model.melted_share(b, p)), "", "liquid share"),
        "q": (float(model.most_lost(b, p)), "", "most that can leave"),
        "kf": (p.fat_steepness, "", "steepness"),
        "f": (p.fat_level, "", "fat level"),
        "al": (p.water_level, "", "water level"),
        "aT": (p.water_per_10C, ""),
        "Tr": (p.core_reference_C, "°C"),
        "aS": (p.salt_gain, ""),
        "Ss": (p.salt_scale_pct, "%"),
        "aP": (p.phosphate_gain, ""),
        "aH": (p.pH_gain, ""),
        "pH": (b.pH, ""),
        "pr": (p.pH_reference, ""),
        "aC": (p.collagen_gain, ""),
        "cr": (p.collagen_reference_pct, "%"),
        **{f"B{letter}": (taken, "") for letter, (taken, *_) in gains.items()},
        "z0": (float(model.water_pull_dry(b, p)), "", "log-odds at the reference ratio"),
        "R": (s.water_ratio, "g/g", "water per meat protein"),
        "R0": (p.ratio_reference, "g/g", "reference ratio"),
        "aR": (p.ratio_gain, ""),
        "z": (float(model.water_pull(b, p)), ""),
        "Td": (p.denature_C, "°C"),
        "wD": (p.denature_width_C, "K"),
        "D": (float(model.denatured(b, p)), "", "how far the gel has set"),
        "y": (float(model.water_share_out(b, p)), "", "share of the water"),
        "s": (p.solids_share, "", "solids with each gram of water"),
        "Wo": (s.water_out_g, "g", "water out"),
        "Fo": (s.fat_out_g, "g", "fat out"),
        "So": (s.solids_out_g, "g", "solids out"),
        "Re": (s.water_ratio_at_edge, "g/g"),
        "u": (p.water_edge_share, "", "share of the water at the edge"),
        "T": s.total_out_g,
        "H": s.headroom_g,
        "mW": s.water_margin,
    }


def _binder(b: Batter, p: Parameters, letter: str) -> tuple[float, float, float, float]:
    """Log-odds that a binder takes off; its gain, its grams, and what it levels off over."""
    field, stem = BINDERS[letter]
    gain, scale = getattr(p, f"{stem}_gain"), getattr(p, f"{stem}_scale_pct")
    grams = getattr(b, f"{field}_pct")
    return float(model.levelling(grams, gain, scale)), gain, grams, scale


def steps_of_model(b: Batter, p: Parameters, s: BatterState) -> tuple[Step, ...]:
    """Every line of the model for one batter."""
    known = _symbols(b, p, s)
    wet = b.water_pct > 0
    coverage = ("coverage margin", "mP = max(−cap, min(cap, ln(Ps / Pc)))")
    if s.film_protein_g == 0:
        coverage = ("coverage margin: nothing to cover", "mP = cap")
    elif s.dissolved_protein_g == 0:
        coverage = ("coverage margin: nothing dissolved to cover with", "mP = −cap")
    salt = ("salt in the water", "I = (S / M) / (W / 1000)", "mol/kg", "salt in the water")
    until_temperature = (
        ("protein that can bind", "Pf = P × (1 − c / 100) + e × Pn", "g", "protein that can bind"),
        *((salt,) if wet else ()),
        ("phosphate at work", "h = 1 − exp(−ph / ps)", "", "phosphate at work"),
        (
            "share of the salt-soluble protein that dissolves",
            "E = (E0 + (E1 − E0) × h) × I^n / (I^n + I5^n)",
            "",
            "dissolved share",
        ),
        (
            "protein in solution",
            "Ps = E × my × P × (1 − c / 100) + nf × e × Pn",
            "g",
            "protein in solution",
        ),
        ("surface of the free fat", "A = 6 × (1 − x) × F / (r × d)", "m2", "surface"),
        ("protein to coat it", "Pc = g / 1000 × A", "g", "film protein"),
        (*coverage, "", "coverage margin"),
    )
    blend = "m = −ln((exp(−k × mP) + exp(−k × mT) + exp(−k × mR)) / 3) / k"
    until_water = (
        ("fat load margin", "mR = max(−cap, min(cap, (Rf − F / Pf) / wf))", "", "fat load margin"),
        ("the three fat margins as one", blend, ""),
        (
            "share of the fat that is liquid",
            "L = 1 / (1 + exp(−(a10 + (a40 − a10) × (Tc − 10) / 30)))",
            "",
        ),
        ("fat released", "Fo = F × q × L / (1 + exp(kf × m − f))", "g"),
    )
    water = (
        (
            "log-odds that water is released, at the reference ratio",
            "z0 = al + aT × (Tc − Tr) / 10 − aS × (1 − exp(−S / Ss)) − aP × h − aH × (pH − pr) + aC × (c − cr) − Bn − Bs − Bf",
            "",
            "dry pull",
        ),
        ("water per meat protein", "R = W / P", "g/g", "water per meat protein"),
        ("how far the gel has set", "D = 1 / (1 + exp(−(Tc − Td) / wD))", "", "set"),
        *((("log-odds that water is released", "z = z0 + aR × ln(R / R0)", ""),) if wet else ()),
        *((("share of the water released", "y = D / (1 + exp(−z))", ""),) if wet else ()),
        ("water released", "Wo = W × y", "g"),
        ("solids released with it", "So = s × Wo", "g"),
        ("total cook-out", "T = Wo + Fo + So", "g"),
    )
    at_edge = (
        (
            "water per meat protein at the margin's zero",
            "Re = R0 × exp((ln((u / D) / (1 − u / D)) − z0) / aR)",
            "g/g",
            "edge ratio",
        ),
        ("water in hand", "H = (Re − R) × P", "g", "water in hand"),
        ("water margin", "mW = max(−cap, min(cap, (Re − R) / R0))", ""),
    )
    return (
        *steps_from(known, *until_temperature),
        *_temperature(b, p, known),
        *steps_from(known, *until_water),
        *_binders(b, p, known),
        *steps_from(known, *water, *(at_edge if p.water_edge_share < known["D"][0] else ())),
    )


def _temperature(b: Batter, p: Parameters, known: dict[str, Any]) -> Iterator[Step]:
    several = len(b.fat_shares) > 1
    mean: dict[str, Any] = {"mT": known["mT"]}
    for n, (kind, share) in enumerate(b.fat_shares.items(), 1):
        fat, margin = p.fats[kind], float(model.temperature_margin_of(kind, b, p))
        hot, name = b.end_C > fat.best_end_C, f"mT{n}" if several else "mT"
        side, away = ("above", "Te − T0") if hot else ("at or below", "T0 − Te")
        width = fat.hot_width_C if hot else fat.cold_width_C
        own = {name: margin, "T0": (fat.best_end_C, "°C", "best end"), "w": (width, "K")}
        what = f"temperature margin of {kind} fat, {side} its best end"
        formula = f"{name} = max(−cap, min(cap, 1 − ({away}) / w))"
        key = "temperature margin" if n == 1 else ""
        yield from steps_from(known | own, (what, formula, "", key))
        mean |= {f"s{n}": (share, "", f"share of {kind} fat"), f"mT{n}": margin}
    if several:
        formula = "mT = " + " + ".join(f"s{n} × mT{n}" for n in range(1, len(b.fat_shares) + 1))
        yield from steps_from(mean, ("temperature margin, the mean by share", formula, ""))


def _binders(b: Batter, p: Parameters, known: dict[str, Any]) -> Iterator[Step]:
    for letter, (field, _) in BINDERS.items():
        _, gain, grams, scale = _binder(b, p, letter)
        if grams:
            what = f"log-odds taken off by {field.replace('nonmeat_', 'non-meat ')}"
            own = {"gain": gain, "grams": (grams, "g"), "scale": (scale, "g", "levels off over")}
            formula = f"B{letter} = gain × (1 − exp(−grams / scale))"
            yield from steps_from(known | own, (what, formula, "", f"binder {letter}"))
