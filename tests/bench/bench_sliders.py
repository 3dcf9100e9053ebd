"""How long from a key on a slider to the painted answer, for the main panel of every lesson, beside the least that a widget can take.

    python tests/bench/bench_sliders.py [moves] [lesson ...]

The main panel is the first one that has a slider which is not grey. Drawn: the answer stands in the page (a MutationObserver sees it). Painted:
the first task after the frame that shows it. The least is one ipywidgets
slider that sets one label. Milliseconds are of this machine and its load; read the ratio. What a kernel costs until the first panel stands
(bench_start.py) is printed in the same run.
"""

import sys
import tempfile
from pathlib import Path
from statistics import median, quantiles

import nbformat
import psutil

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "browser"), str(ROOT / "tests" / "bench")]
import bench_start  # noqa: E402
import lab  # noqa: E402

LESSON = """import contextlib, io, json
from pathlib import Path
from kit.lab.panels.panel import Panel, Slider
space, found = {}, []
for cell in json.loads(Path(LESSON).read_text(encoding="utf-8"))["cells"]:
    if cell["cell_type"] == "code" and not found:
        with contextlib.redirect_stdout(io.StringIO()):
            exec("".join(cell["source"]), space)
        found = [p for p in space.values() if isinstance(p, Panel) and any(isinstance(c.spec, Slider) and not c.idle for c in p.controls.values())]
found[0]"""
LEAST = """import ipywidgets as W
slider, label = W.FloatSlider(value=50), W.Label("50.0")
label.add_class("least")
slider.observe(lambda change: setattr(label, "value", str(change["new"])), "value")
W.VBox([slider, label])"""
SETUP = """said => {
    const marks = window.marks = [], painted = new MessageChannel();
    let due = null;
    document.addEventListener('keydown', () => { due = {at: performance.now(), was: said()}; }, true);
    painted.port1.onmessage = ({data}) => marks.push([performance.now() - data.at, data.drawn - data.at]);
    new MutationObserver(() => {
        if (!due || said() === due.was) return;
        const mark = {...due, drawn: performance.now()};
        due = null;
        requestAnimationFrame(() => painted.port2.postMessage(mark));
    }).observe(document.body, {subtree: true, childList: true, characterData: true, attributes: true, attributeFilter: ['data-tick']});
}"""
OURS, OTHER = (
    "document.querySelector('.cb-panel')?.dataset.tick",
    "document.querySelector('.least')?.innerText",
)


class Spent:
    """Processor time in ms: of the page's main thread, and of the kernels begun by this run."""

    def __init__(self, page):
        self.page = page.context.new_cdp_session(page)
        self.page.send("Performance.enable", {"timeDomain": "threadTicks"})

    def now(self) -> tuple[float, float]:
        found = self.page.send("Performance.getMetrics")["metrics"]
        page_s = next(one["value"] for one in found if one["name"] == "TaskDuration")
        begun = psutil.Process().children(recursive=True)
        kernels = [one for one in begun if "ipykernel_launcher" in " ".join(one.cmdline())]
        return 1000 * page_s, 1000 * sum(sum(one.cpu_times()[:2]) for one in kernels)


def measure(page, base: str, name: str, said: str, moves: int) -> tuple[list, float, float]:
    """((ms to painted, ms to drawn) of each move, page's and kernel's processor ms a move)."""
    lab.open_and_run(page, base, name)
    page.wait_for_selector(".widget-hslider [role=slider]")
    page.wait_for_function(f"() => {said}")
    page.evaluate(f"({SETUP})(() => {said})")
    handle = page.locator(".widget-hslider .noUi-target:not([disabled]) [role=slider]").first
    handle.scroll_into_view_if_needed()
    handle.focus()
    now, high = (float(handle.get_attribute(f"aria-value{end}")) for end in ("now", "max"))
    keys = ("ArrowRight", "ArrowLeft") if now < high else ("ArrowLeft", "ArrowRight")
    spent, before = Spent(page), (0.0, 0.0)
    for n in range(moves + 5):
        before = spent.now() if n == 5 else before
        page.keyboard.press(keys[n % 2])
        page.wait_for_function("n => window.marks.length > n", arg=n, timeout=20000)
        page.wait_for_timeout(40)
    used = [(now - then) / moves for then, now in zip(before, spent.now())]
    return page.evaluate("() => window.marks")[5:], *used


def _p95(times) -> float:
    return quantiles(times, n=20)[-1]


def main(moves: int = 30, *only: str) -> None:
    sliding = [path for path in bench_start.LESSONS if path.name[:2] != "11"]  # which has none
    lessons = [path for path in sliding if not only or path.name[:2] in only]
    codes = {"least": LEAST} | {
        path.stem: LESSON.replace("LESSON", repr(str(path)), 1) for path in lessons
    }
    with tempfile.TemporaryDirectory() as folder:
        home, books = Path(folder) / "home", Path(folder) / "books"
        home.mkdir(), books.mkdir()
        for name, code in codes.items():
            notebook = nbformat.v4.new_notebook(
                cells=[nbformat.v4.new_code_cell(code)],
                metadata={"kernelspec": {"name": "python3", "display_name": "Python 3"}},
            )
            nbformat.write(notebook, books / f"{name}.ipynb")
        heads = ("drawn p50", "p95 ms", "painted p50", "p95 ms", "ratio", "page CPU", "kernel CPU")
        print(f"{'from a key on a slider':24}" + "".join(f"{head:>12}" for head in heads))
        medians: list[float] = []
        with lab.server(books, home) as base, lab.browser(home) as page:
            for name in codes:
                said = OTHER if name == "least" else OURS
                times, page_ms, kernel_ms = measure(page, base, f"{name}.ipynb", said, moves)
                painted, drawn = zip(*times)
                halves = [f(part) for part in (drawn, painted) for f in (median, _p95)]
                medians.append(halves[2])  # the first is the least
                figures = (*halves, 0, page_ms, kernel_ms)
                shown = [f"{n:12.1f}" for n in figures]
                shown[4] = f"{halves[2] / medians[0]:12.2f}"
                print(f"{name:24}" + "".join(shown), flush=True)
    bench_start.kernels(lessons)


if __name__ == "__main__":
    main(*(int(a) for a in sys.argv[1:2]), *sys.argv[2:])
