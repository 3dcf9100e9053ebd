"""Run notebooks and store them clean: python tests/tools/notebooks.py [notebooks/NN_name.ipynb ...]

Outputs are kept (nbval compares them), widget state is dropped, run counts are 1, 2, 3 ..., a cell that fails stops the run
and leaves the file as it was.
"""

import os
import sys
from pathlib import Path

import nbformat
from nbclient import NotebookClient

ROOT = Path(__file__).resolve().parents[2]


def clean(notebook):
    """Without anything that changes from run to run."""
    notebook.metadata = nbformat.from_dict(
        {
            "kernelspec": {"name": "python3", "display_name": "Python 3", "language": "python"},
            "language_info": {"name": "python"},
            **({"kit": notebook.metadata["kit"]} if "kit" in notebook.metadata else {}),
        }
    )
    count = 0
    for n, cell in enumerate(notebook.cells):
        cell["id"] = f"cell-{n:02d}"
        if cell.cell_type != "code":
            continue
        cell.metadata = nbformat.from_dict(
            {k: v for k, v in cell.metadata.items() if k in ("jupyter", "tags", "editable")}
        )
        count += 1
        cell.execution_count = count
        for output in cell.outputs:
            if "execution_count" in output:
                output["execution_count"] = count
            output.get("metadata", {}).clear()
    return notebook


def run(path: Path) -> None:
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(
        notebook,
        timeout=120,
        kernel_name="python3",
        resources={"metadata": {"path": str(path.parent)}},
    ).execute()
    text = nbformat.writes(clean(notebook)) + "\n"
    draft = path.with_suffix(".part")
    draft.write_text(text, encoding="utf-8")
    os.replace(draft, path)
    print(f"{path.relative_to(ROOT)}: {len(text) // 1024} kB")


if __name__ == "__main__":
    os.environ["COLD_BATTER_PICTURES"] = "yes"  # what is stored has its pictures
    for name in sys.argv[1:] or sorted((ROOT / "notebooks").glob("*.ipynb")):
        run(Path(name).resolve())
