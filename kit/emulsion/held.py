"""Does it hold, which limit fails first, and what leaves? One batter, with the working."""

from dataclasses import dataclass

from kit import tables
from kit.emulsion import model
from kit.emulsion.batter import Batter, untried
from kit.emulsion.calibrate import NOT_THE_YIELD, Calibration, settled
from kit.emulsion.model import LIMITS, State, work_out
from kit.emulsion.parameters import PLAIN, Parameters, row_name
from kit.errors import need, need_between
from kit.working import Step, step

CAUTION = (
    "The core temperature here is one of binding, not of safety: cook by your local code and a validated process. "
    "Margins are teaching numbers; no batter is promised to hold or to fail."
)


@dataclass(frozen=True)
class Held(State):
    """Pools, margins and outflows of one batter (grams of 100 g raw), and how they were worked out.

    `fails_first` is the limit with the smallest margin: the first to go if things get worse, whether or not it has gone.
    """

    batter: Batter
    parameters: Parameters
    fails_first: str
    calibrated_with: str
    notes: tuple[str, ...]
    sources: tuple[str, ...]
    working: tuple[Step, ...]

    def house_loss_g(self, drying_g: float) -> float:
        """All that the smokehouse takes from 100 g raw: what leaves the gel and what dries, the latter from the cook's own balance."""
        return self.total_out_g + need_between(
            "drying, g of 100 g raw", drying_g, 0, 100 - self.total_out_g
        )


def hold(
    batter: Batter, calibration: Calibration | None = None, parameters: Parameters | None = None
) -> Held:
    """The model on one batter. `calibration` puts a plant's levels in; `parameters` replaces every number (one draw, say)."""
    need(
        batter.shape == (),
        "hold answers for one batter; use work_out, spread or break_map for many",
    )
    p = parameters or settled(calibration)
    p = calibration.settle(p) if calibration and parameters else p
    state = State(**{name: float(value) for name, value in vars(work_out(batter, p)).items()})
    first = LIMITS[int(state.weakest)]
    return Held(
        **vars(state),
        batter=batter,
        parameters=p,
        fails_first=first,
        calibrated_with=calibration.name if calibration else "",
        notes=_notes(batter, state, first, calibration),
        sources=model_sources(batter),
        working=_working(batter, p, state),
    )


def _notes(b: Batter, s: State, first: str, calibration: Calibration | None) -> tuple[str, ...]:
    below = [limit for limit, margin in s.margins.items() if margin < 0]
    notes = [*untried(b)]
    notes.append(
        f"below the edge: {', '.join(below)}"
        if below
        else f"every margin is above the edge; the smallest is that of {first}"
    )
    if len(b.fat_kind) > 1:
        notes.append("the fats are blended by their shares, a teaching assumption")
    if not calibration:
        notes.append(
            "levels differ between laboratories by a factor of 2 to 10; a tube test of your own sets them"
        )
    elif NOT_THE_YIELD in calibration.notes:
        notes.append(NOT_THE_YIELD)
    return (*notes, "what the house dries comes on top of what leaves here", CAUTION)


def model_sources(b: Batter) -> tuple[str, ...]:
    """Every source of the model's numbers, for this batter's fats."""
    rows = [row_name(name) for name in PLAIN] + [
        row_name(name, kind) for kind in b.fat_kind for name in ("best_end_C", "most_lost")
    ]
    return tuple(dict.fromkeys(tables.number(row).cite() for row in rows))


def _working(b: Batter, p: Parameters, s: State) -> tuple[Step, ...]:
    return (*_pools(b, p, s), *_fat_margins(b, p, s), *_fat_out(b, p, s), *_water_out(b, p, s))


def _pools(b: Batter, p: Parameters, s: State):
    phosphate, dissolved = float(model.phosphate_effect(b, p)), float(model.dissolved_share(b, p))
    yield step(
        "protein that can bind",
        "Pf = P × (1 − c / 100) + e × Pn",
        s.functional_protein_g,
        "g",
        P=(b.protein_pct, "g", "meat protein"),
        c=(b.collagen_pct_of_protein, "%", "collagen"),
        e=(p.nonmeat_worth, "", "worth of non-meat protein"),
        Pn=(b.nonmeat_protein_pct, "g"),
    )
    if b.water_pct > 0:
        yield step(
            "salt in the water",
            "I = (S / M) / (W / 1000)",
            s.salt_mol_per_kg_water,
            "mol/kg",
            S=(b.salt_pct, "g"),
            M=(tables.value("nacl_g_per_mol"), "g/mol"),
            W=(b.water_pct, "g"),
        )
    yield step(
        "phosphate at work",
        "h = 1 − exp(−ph / ps)",
        phosphate,
        "",
        ph=(b.phosphate_pct, "%"),
        ps=(p.phosphate_scale_pct, "%"),
    )
    yield step(
        "share of the salt-soluble protein that dissolves",
        "E = (E0 + (E1 − E0) × h) × I^n / (I^n + I5^n)",
        dissolved,
        "",
        E0=p.dissolved_share_salt,
        E1=p.dissolved_share_phosphate,
        h=phosphate,
        I=(s.salt_mol_per_kg_water, "mol/kg"),
        n=p.salt_steepness,
        I5=(p.half_salt_mol_per_kg, "mol/kg"),
    )
    yield step(
        "protein in solution",
        "Ps = E × my × P × (1 − c / 100) + nf × e × Pn",
        s.dissolved_protein_g,
        "g",
        E=dissolved,
        my=(p.myofibrillar_share, "", "salt-soluble share"),
        P=(b.protein_pct, "g"),
        c=(b.collagen_pct_of_protein, "%"),
        nf=p.nonmeat_film_share,
        e=p.nonmeat_worth,
        Pn=(b.nonmeat_protein_pct, "g"),
    )


def _fat_margins(b: Batter, p: Parameters, s: State):
    yield step(
        "surface of the free fat",
        "A = 6 × (1 − x) × F / (r × d)",
        s.fat_area_m2,
        "m2",
        x=(p.intact_cell_share, "", "still in cells"),
        F=(b.fat_pct, "g"),
        r=(p.fat_density_kg_per_L, "kg/L"),
        d=(b.drop_um, "µm"),
    )
    yield step(
        "protein to coat it",
        "Pc = g / 1000 × A",
        s.film_protein_g,
        "g",
        g=(p.film_mg_per_m2, "mg/m2"),
        A=(s.fat_area_m2, "m2"),
    )
    if s.film_protein_g > 0 and s.dissolved_protein_g > 0:
        yield step(
            "coverage margin",
            "mP = max(−cap, min(cap, ln(Ps / Pc)))",
            s.coverage_margin,
            "",
            cap=p.margin_cap,
            Ps=(s.dissolved_protein_g, "g"),
            Pc=(s.film_protein_g, "g"),
        )
    else:
        why = "nothing to cover" if s.film_protein_g == 0 else "nothing dissolved to cover with"
        yield step(
            f"coverage margin: {why}",
            "mP = cap" if s.film_protein_g == 0 else "mP = −cap",
            s.coverage_margin,
            "",
            cap=p.margin_cap,
        )
    yield from _temperature(b, p, s)
    yield step(
        "fat load margin",
        "mR = max(−cap, min(cap, (R − F / Pf) / w))",
        s.load_margin,
        "",
        cap=p.margin_cap,
        R=(p.fat_load_limit, "g/g"),
        F=(b.fat_pct, "g"),
        Pf=(s.functional_protein_g, "g"),
        w=(p.fat_load_width, "g/g"),
    )
    yield step(
        "the three fat margins as one",
        "m = −ln((exp(−k × mP) + exp(−k × mT) + exp(−k × mR)) / 3) / k",
        s.fat_margin,
        "",
        k=(p.blend_sharpness, "", "how far the weakest rules"),
        mP=s.coverage_margin,
        mT=s.temperature_margin,
        mR=s.load_margin,
    )


def _temperature(b: Batter, p: Parameters, s: State):
    several = len(b.fat_kind) > 1
    mean = {}
    for n, (kind, share) in enumerate(b.fat_kind.items(), 1):
        fat, margin = p.fats[kind], float(model.temperature_margin_of(kind, b, p))
        hot, name = b.end_C > fat.best_end_C, f"mT{n}" if several else "mT"
        away = "Te − T0" if hot else "T0 − Te"
        yield step(
            f"temperature margin of {kind} fat, {'above' if hot else 'at or below'} its best end",
            f"{name} = max(−cap, min(cap, 1 − ({away}) / w))",
            margin,
            "",
            cap=p.margin_cap,
            Te=(b.end_C, "°C"),
            T0=(fat.best_end_C, "°C"),
            w=(fat.hot_width_C if hot else fat.cold_width_C, "K"),
        )
        mean |= {f"s{n}": (share, "", f"share of {kind} fat"), name: margin}
    if several:
        formula = " + ".join(f"s{n} × mT{n}" for n in range(1, len(b.fat_kind) + 1))
        yield step(
            "temperature margin, the mean by share",
            f"mT = {formula}",
            s.temperature_margin,
            "",
            **mean,
        )


def _fat_out(b: Batter, p: Parameters, s: State):
    liquid, most = float(model.melted_share(b, p)), float(model.most_lost(b, p))
    yield step(
        "share of the fat that is liquid",
        "L = 1 / (1 + exp(−(a + (w − a) × (Tc − 10) / 30)))",
        liquid,
        "",
        a=(float(model.logit(p.melted_share_10C)), "", "log-odds at 10 °C"),
        w=(float(model.logit(p.melted_share_40C)), "", "log-odds at 40 °C"),
        Tc=(b.core_C, "°C"),
    )
    yield step(
        "fat that leaves",
        "Fo = F × q × L / (1 + exp(k × m − f))",
        s.fat_out_g,
        "g",
        F=(b.fat_pct, "g"),
        q=(most, "", "most that can leave"),
        L=liquid,
        k=(p.fat_steepness, "", "steepness"),
        m=s.fat_margin,
        f=(p.fat_level, "", "fat level"),
    )


def _water_out(b: Batter, p: Parameters, s: State):
    dry, pull, set_, share = (
        float(f(b, p))
        for f in (model.water_pull_dry, model.water_pull, model.denatured, model.water_share_out)
    )
    phosphate = float(model.phosphate_effect(b, p))
    binders = [
        (
            name,
            float(
                model.levelling(
                    getattr(b, f"{name}_pct"),
                    getattr(p, f"{short}_gain"),
                    getattr(p, f"{short}_scale_pct"),
                )
            ),
            getattr(p, f"{short}_gain"),
            getattr(b, f"{name}_pct"),
            getattr(p, f"{short}_scale_pct"),
        )
        for name, short in (
            ("nonmeat_protein", "nonmeat"),
            ("starch", "starch"),
            ("fibre", "fibre"),
        )
    ]
    for (name, answer, gain, grams, scale), letter in zip(binders, "nsf"):
        if grams:
            yield step(
                f"log-odds taken off by {name.replace('nonmeat_', 'non-meat ')}",
                f"B{letter} = g × (1 − exp(−x / xs))",
                answer,
                "",
                g=gain,
                x=(grams, "g"),
                xs=(scale, "g", "levels off over"),
            )
    yield step(
        "log-odds that water leaves, at the reference ratio",
        "z0 = al + aT × (Tc − Tr) / 10 − aS × (1 − exp(−S / Ss)) − aP × h − aH × (pH − pr) + aC × (c − cr) − Bn − Bs − Bf",
        dry,
        "",
        aC=p.collagen_gain,
        c=(b.collagen_pct_of_protein, "%", "collagen"),
        cr=(p.collagen_reference_pct, "%"),
        Bn=binders[0][1],
        Bs=binders[1][1],
        Bf=binders[2][1],
        al=(p.water_level, "", "water level"),
        aT=p.water_per_10C,
        Tc=(b.core_C, "°C"),
        Tr=(p.core_reference_C, "°C"),
        aS=p.salt_gain,
        S=(b.salt_pct, "%"),
        Ss=(p.salt_scale_pct, "%"),
        aP=p.phosphate_gain,
        h=phosphate,
        aH=p.pH_gain,
        pH=b.pH,
        pr=p.pH_reference,
    )
    yield step(
        "water per meat protein",
        "R = W / P",
        s.water_ratio,
        "g/g",
        W=(b.water_pct, "g"),
        P=(b.protein_pct, "g", "meat protein, collagen counted"),
    )
    yield step(
        "how far the gel has set",
        "D = 1 / (1 + exp(−(Tc − Td) / w))",
        set_,
        "",
        Tc=(b.core_C, "°C"),
        Td=(p.denature_C, "°C"),
        w=(p.denature_width_C, "K"),
    )
    if b.water_pct > 0:
        yield step(
            "log-odds that water leaves",
            "z = z0 + aR × ln(R / R0)",
            pull,
            "",
            z0=dry,
            aR=p.ratio_gain,
            R=(s.water_ratio, "g/g"),
            R0=(p.ratio_reference, "g/g"),
        )
        yield step(
            "share of the water that leaves", "y = D / (1 + exp(−z))", share, "", D=set_, z=pull
        )
    yield step("water that leaves", "Wo = W × y", s.water_out_g, "g", W=(b.water_pct, "g"), y=share)
    yield step(
        "solids that leave with it",
        "So = s × Wo",
        s.solids_out_g,
        "g",
        s=p.solids_share,
        Wo=(s.water_out_g, "g"),
    )
    yield step(
        "all that leaves",
        "T = Wo + Fo + So",
        s.total_out_g,
        "g",
        Wo=(s.water_out_g, "g"),
        Fo=(s.fat_out_g, "g"),
        So=(s.solids_out_g, "g"),
    )
    if p.water_edge_share < set_:
        yield step(
            "water per meat protein at the margin's zero",
            "Re = R0 × exp((ln((u / D) / (1 − u / D)) − z0) / aR)",
            s.water_ratio_at_edge,
            "g/g",
            R0=(p.ratio_reference, "g/g"),
            u=(p.water_edge_share, "", "share of the water at the edge"),
            D=set_,
            z0=dry,
            aR=p.ratio_gain,
        )
        yield step(
            "water in hand",
            "H = (Re − R) × P",
            s.headroom_g,
            "g",
            Re=(s.water_ratio_at_edge, "g/g"),
            R=(s.water_ratio, "g/g"),
            P=(b.protein_pct, "g"),
        )
        yield step(
            "water margin",
            "mW = max(−cap, min(cap, (Re − R) / R0))",
            s.water_margin,
            "",
            cap=p.margin_cap,
            Re=(s.water_ratio_at_edge, "g/g"),
            R=(s.water_ratio, "g/g"),
            R0=(p.ratio_reference, "g/g"),
        )
