"""How much is dangerous: daily, toxic and deadly amounts, in grams of each premix."""
from kit import units
from kit.charts import cure_left as charts
from kit.cure import Intake, cautions, intake
from kit.panels.cure.pieces import amounts_table, premix_grams_table
from kit.panels.panel import Panel, Slider, View


def danger_panel() -> Panel:
    """Published amounts for one body, in grams of each premix, and what one portion brings."""
    controls = (Slider("body_kg", "Body weight", "kg", 10, 120, 1, 70, "Who eats it"), Slider("portion_g", "Portion", "g", 20, 500, 10, 100, "Who eats it"),
                Slider("ppm", "Nitrite in it, ppm (as NaNO2)", "", 0, 2500, 5, 10, "Cure"))
    presets = {"A child": {"body_kg": 15}, "All that went in is still there": {"ppm": 110}, "Weighed from the wrong bag": {"ppm": 1055}, "Pure nitrite for premix": {"ppm": 1625}}
    return Panel("How much is dangerous", controls, lambda values: intake(values["body_kg"], values["portion_g"], values["ppm"]), danger_view,
                 lambda system: {"grams": charts.grams_chart(system)}, presets)


def danger_view(eaten: Intake, values, system) -> View:
    body, portion = units.show(values["body_kg"], "kg", system, 0), units.show(values["portion_g"], "g", system)
    strong, weak = (next(g for g in eaten.premixes if g.premix == name) for name in ("us cure 6.25 %", "nitrite salt 0.6 %"))
    if eaten.eaten_mg_nano2 >= eaten.lethal_low_g_nano2 * 1000:
        verdict = "✗ deaths are reported from such amounts"
    elif eaten.eaten_mg_nano2 >= eaten.methaemoglobin_from_mg_nano2:
        verdict = "✗ first signs of poisoning are reported from such amounts"
    else:
        verdict = f"{eaten.share_of_adi_pct:.0f} % of what is accepted for every day of a life"
    sentence = (f"For {body}, deaths are reported from {charts.grams(eaten.lethal_low_g_nano2, system)} of pure nitrite: {charts.grams(strong.lethal_low_g, system)} of a 6.25 % cure, "
                f"{charts.grams(weak.lethal_low_g, system)} of a 0.6 % salt. {portion} with {values['ppm']:.0f} ppm brings {charts.grams(eaten.eaten_mg_nano2 / 1000, system)}: {verdict}.")
    return View(sentence, {"grams": charts.grams_data(eaten.premixes, system)}, {"grams": charts.grams_text(eaten.premixes)},
                (amounts_table(eaten, portion, body, system), premix_grams_table(eaten, body, system)), eaten.notes, eaten.working, eaten.sources,
                (cautions.NITRITE, cautions.POISONED))
