"""How long from a key on a slider to the painted answer: our panel against ipywidgets' usual way, in one run, in one browser.

    python tests/bench/bench_sliders.py [moves]

Both answer the same question (the demo batch: two charts and the outcome table). The usual way is `interactive_output` with the charts
drawn anew for each answer (Altair's svg renderer: of those that come with Altair it is one that draws offline). Milliseconds are of this machine; read the ratio.
"""

import sys
import tempfile
from pathlib import Path
from statistics import median, quantiles

import nbformat

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "browser")]
import lab  # noqa: E402

OURS = """from kit.lab.panels.start import batch_panel
batch_panel()"""
USUAL = """import altair as alt, ipywidgets as W
from IPython.display import HTML, display
from kit.lab.panels.start import batch_panel
alt.renderers.enable("svg")
core = batch_panel()
kept = ("lean_pct_of_meat", "ice_pct_of_meat", "binder_pct_of_batch", "salt_pct_of_batch", "cook_yield_pct")
sliders = {k: W.FloatSlider(value=core.values[k], min=core.controls[k].spec.low, max=core.controls[k].spec.high, step=core.controls[k].spec.step, description=k) for k in kept}
def answer(**moved):
    values = {**core.values, **moved}
    view = core.view(core.compute(values), values, "metric")
    for name, spec in core.charts("metric").items():
        display(alt.Chart.from_dict({**spec, "datasets": view.data[name]}))
    rows = "".join("<tr>" + "".join(f"<td>{c}</td>" for c in r.cells) + "</tr>" for r in view.tables[0].rows)
    display(HTML(f"<p class='usual-sentence'>{view.sentence}</p><table>{rows}</table>"))
W.VBox([*sliders.values(), W.interactive_output(answer, sliders)])"""
SETUP = """() => {
    window.marks = []; window.due = null;
    document.addEventListener('keydown', () => { window.due = {at: performance.now(), was: window.saying()}; }, true);
    const look = () => {
        if (window.due && window.saying() && window.saying() !== window.due.was) {
            const due = window.due; window.due = null;
            requestAnimationFrame(() => window.marks.push(performance.now() - due.at));
        }
        requestAnimationFrame(look);
    };
    requestAnimationFrame(look);
}"""


def measure(page, base: str, name: str, said: str, moves: int) -> list[float]:
    lab.open_and_run(page, base, name)
    page.wait_for_selector(".widget-hslider [role=slider]")
    page.evaluate(f"() => {{ window.saying = () => {said}; }}")
    page.wait_for_function("() => window.saying()")
    page.evaluate(SETUP)
    handle = page.locator(".widget-hslider [role=slider]").nth(1)
    handle.scroll_into_view_if_needed()
    handle.focus()
    for n in range(moves + 5):
        page.keyboard.press("ArrowRight")
        page.wait_for_function("n => window.marks.length > n", arg=n, timeout=20000)
        page.wait_for_timeout(60)
    return page.evaluate("() => window.marks")[5:]


def main(moves: int = 30) -> None:
    with tempfile.TemporaryDirectory() as folder:
        home, books = Path(folder) / "home", Path(folder) / "books"
        home.mkdir(), books.mkdir()
        for name, code in (("ours", OURS), ("usual", USUAL)):
            notebook = nbformat.v4.new_notebook(
                cells=[nbformat.v4.new_code_cell(code)],
                metadata={"kernelspec": {"name": "python3", "display_name": "Python 3"}},
            )
            nbformat.write(notebook, books / f"{name}.ipynb")
        with lab.server(books, home) as base, lab.browser(home) as page:
            ours = measure(
                page, base, "ours.ipynb", "document.querySelector('.cb-panel')?.dataset.tick", moves
            )
            usual = measure(
                page,
                base,
                "usual.ipynb",
                "document.querySelector('.usual-sentence')?.parentElement?.innerText",
                moves,
            )
    print(f"{'':28}{'median ms':>10}{'p95 ms':>10}{'max ms':>10}")
    for name, times in (("our panel", ours), ("interactive_output, redrawn", usual)):
        print(f"{name:28}{median(times):10.0f}{quantiles(times, n=20)[-1]:10.0f}{max(times):10.0f}")
    print(
        f"{'ratio':28}{median(usual) / median(ours):10.2f}{quantiles(usual, n=20)[-1] / quantiles(ours, n=20)[-1]:10.2f}"
    )


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:2]))
