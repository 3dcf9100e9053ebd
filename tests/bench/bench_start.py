"""What a kernel costs until the first panel of each lesson stands: python tests/bench/bench_start.py [lesson ...]

Processor seconds (user and system, of the kernel alone, its start included) and resident memory, beside a kernel that only imports ipywidgets.
Then `import kit`, and one slider move in the kernel. Seconds are of this machine; read the ratio.
"""

import subprocess
import sys
from pathlib import Path
from time import perf_counter

import nbformat
import psutil
from jupyter_client.manager import start_new_kernel

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))
LESSONS = sorted((ROOT / "notebooks").glob("*.ipynb"))
VIEW = "application/vnd.jupyter.widget-view+json"


def cost(cells: list[str]) -> tuple[float, float]:
    """(processor seconds, MB) of a kernel that runs these cells until one shows a widget."""
    manager, client = start_new_kernel(
        kernel_name="python3", cwd=str(ROOT / "notebooks"), extra_arguments=["--log-level=ERROR"]
    )
    shown: list[bool] = []

    def look(message) -> None:
        shown.append(VIEW in message["content"].get("data", ()))

    try:
        kernel = psutil.Process(manager.provisioner.pid)
        for cell in cells:
            reply = client.execute_interactive(cell, output_hook=look, timeout=120)
            if reply["content"]["status"] != "ok":
                raise RuntimeError("\n".join(reply["content"]["traceback"]))
            if any(shown):
                break
        spent = kernel.cpu_times()
        return spent.user + spent.system, kernel.memory_info().rss / 2**20
    finally:
        client.stop_channels()
        manager.shutdown_kernel(now=True)


def kernels(lessons: list[Path]) -> None:
    least_s, least_mb = cost(["import ipywidgets; ipywidgets.Label('least')"])
    print(f"\n{'kernel to first panel':32}{'CPU s':>8}{'MB':>8}{'ratio':>8}")
    print(f"{'least':32}{least_s:8.2f}{least_mb:8.0f}{1:8.2f}")
    for path in lessons:
        cells = nbformat.read(path, as_version=4).cells
        spent, mb = cost([cell.source for cell in cells if cell.cell_type == "code"])
        print(f"{path.stem:32}{spent:8.2f}{mb:8.0f}{spent / least_s:8.2f}", flush=True)


def importing(times: int = 5) -> float:
    """`import kit` in a process that has NumPy and pandas already, best of `times`, in ms."""
    code = "import numpy, pandas, time; t = time.perf_counter(); import kit; print(1000 * (time.perf_counter() - t))"
    run = [sys.executable, "-c", code]
    done = (
        subprocess.run(run, cwd=ROOT, check=True, capture_output=True, text=True).stdout
        for _ in range(times)
    )
    return min(map(float, done))


def timed(call, times: int = 50) -> float:
    call()
    start = perf_counter()
    for _ in range(times):
        call()
    return 1000 * (perf_counter() - start) / times


def main(*only: str) -> None:
    from kit.lab.panels.start import batch_panel

    kernels([path for path in LESSONS if not only or path.name[:2] in only])
    panel = batch_panel()
    move = timed(lambda: panel.set(ice_pct_of_meat=30 + panel._tick % 7))
    print(f"\nimport kit, beyond NumPy and pandas {importing():.1f} ms")
    print(f"slider move in the kernel, compute and view {move:.1f} ms")


if __name__ == "__main__":
    main(*sys.argv[1:])
