"""README's pictures, taken from the notebooks as they run: python tests/tools/pictures.py"""

import sys
import tempfile
from io import BytesIO
from pathlib import Path

from PIL import Image

ROOT = Path(__file__).resolve().parents[2]
sys.path[:0] = [str(ROOT), str(ROOT / "tests" / "browser")]

import lab  # noqa: E402

PICTURES = {
    "plan_a_batch": ("00_start_here.ipynb", 0),
    "why_it_breaks": ("04_why_it_breaks.ipynb", 0),
    "across_batches": ("09_across_batches.ipynb", 0),
}
"""name: (notebook, which of its panels)"""
WIDTH, HEIGHT = 1280, 720


def taken(page, number: int) -> bytes:
    """A panel's controls and answer, as much as one screen shows, in 64 colours."""
    box = page.locator(".cb-box").nth(number)
    box.scroll_into_view_if_needed()
    lab.wait_drawn(page, number)
    box.evaluate("node => node.scrollIntoView({block: 'start'})")
    page.wait_for_timeout(500)
    image = Image.open(BytesIO(page.screenshot()))
    frame, out = box.bounding_box(), BytesIO()
    edges = (frame["x"], frame["y"], frame["x"] + frame["width"], frame["y"] + frame["height"])
    scale = image.width / page.viewport_size["width"]
    left, top, right, bottom = (int(edge * scale) for edge in edges)
    part = image.crop((left, max(top, 0), right, min(bottom, image.height)))
    part.convert("RGB").quantize(64, dither=Image.Dither.NONE).save(out, "PNG", optimize=True)
    return out.getvalue()


def main() -> None:
    with (
        tempfile.TemporaryDirectory() as home,
        lab.server(ROOT / "notebooks", Path(home)) as base,
        lab.browser(Path(home), WIDTH, HEIGHT, scale=1) as page,
    ):
        for name, (notebook, number) in PICTURES.items():
            lab.open_and_run(page, base, notebook)
            path = ROOT / "data" / "pictures" / f"{name}.png"
            path.write_bytes(taken(page, number))
            print(f"{path.relative_to(ROOT)}: {path.stat().st_size // 1024} kB")


if __name__ == "__main__":
    main()
