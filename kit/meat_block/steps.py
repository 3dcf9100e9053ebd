"""How was the composition of a mix calculated? Steps for a pencil."""

from typing import TYPE_CHECKING, Any

from kit.working import Step, step

if TYPE_CHECKING:
    from kit.meat_block.mix import Composition


def steps_of_mix(made: "Composition") -> tuple[Step, ...]:
    """How weight and shares of a mix came about, for a pencil."""
    used = [
        (n, m, float(made.kg[n - 1])) for n, m in enumerate(made.materials, 1) if made.kg[n - 1] > 0
    ]
    weights: dict[str, Any] = {f"m{n}": (kg, "kg", m.name) for n, m, kg in used}
    total = made.total_kg
    steps = [step("Everything in the bowl", f"M = {' + '.join(weights)}", total, "kg", **weights)]
    for symbol, what, part, answer in (
        ("W", "Water", "moisture", made.water_pct),
        ("P", "Protein", "protein", made.protein_pct),
        ("F", "Fat", "fat", made.fat_pct),
    ):
        low = symbol.lower()
        held = {n: (getattr(m, f"{part}_pct"), m.name) for n, m, _ in used}
        held = {n: pair for n, pair in held.items() if pair[0]}
        terms: dict[str, Any] = {f"m{n}": weights[f"m{n}"] for n in held}
        terms |= {f"{low}{n}": (pct, "%", f"{part} of {name}") for n, (pct, name) in held.items()}
        sums = " + ".join(f"m{n} × {low}{n}" for n in held) or "0"
        terms["M"] = (total, "kg", "everything in the bowl")
        steps.append(step(f"{what} of the mix", f"{symbol} = ({sums}) / M", answer, "%", **terms))
    if made.protein_kg:
        water, protein = (made.water_pct, "%"), (made.protein_pct, "%")
        ratio = made.moisture_to_protein
        steps.append(step("Moisture to protein", "R = W / P", ratio, W=water, P=protein))
    return tuple(steps)


def steps_of_cook(made: "Composition", raw: "Composition") -> tuple[Step, ...]:
    """How the shares changed in the cook."""
    M, A = (raw.total_kg, "kg", "raw"), (made.total_kg, "kg", "finished")
    lost_kg = raw.total_kg - made.total_kg
    lost: dict[str, Any] = {"L": (lost_kg, "kg", "cook loss")}
    W, P, F = ((part, "%") for part in (raw.water_pct, raw.protein_pct, raw.fat_pct))
    Y = (made.cook_yield_pct, "%", "cook yield")
    of = "of the finished product"
    water, protein = "w = (W × M − 100 × L) / A", "p = P × M / A"
    return (
        step("Finished weight", "A = M × Y / 100", made.total_kg, "kg", M=M, Y=Y),
        step("Cook loss", "L = M − A", lost_kg, "kg", M=M, A=A),
        step(f"Water {of}", water, made.water_pct, "%", W=W, M=M, **lost, A=A),
        step(f"Protein {of}", protein, made.protein_pct, "%", P=P, M=M, A=A),
        step(f"Fat {of}", "f = F × M / A", made.fat_pct, "%", F=F, M=M, A=A),
    )
