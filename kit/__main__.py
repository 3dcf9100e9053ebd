"""Set up and run, with nothing but Python: `python3 -m kit open`, `python3 -m kit check`.

Uses the standard library only, because it runs before anything is installed. The environment lives in .venv beside the
code; it is filled again only when the pins change.
"""

import hashlib
import os
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
VENV = ROOT / ".venv"
BIN = VENV / ("Scripts" if os.name == "nt" else "bin")
PYTHON = BIN / ("python.exe" if os.name == "nt" else "python")
CLASSROOM, TESTS = ROOT / "binder" / "requirements.txt", ROOT / "tests" / "requirements.txt"
FIRST = "notebooks/00_start_here.ipynb"
CONNECTION = "kit.lab.server.PromptConnection"
KEEP_LIBRARY = "from kit.lab.charts.alt import draw_all; from kit.lab.panels.panel import bundled; bundled(keep=True); draw_all()"
USAGE = f"""python3 -m kit open [NOTEBOOK] [OPTION ...]   set up, then open JupyterLab on NOTEBOOK (default {FIRST});
                                   it serves the whole folder, data/demo too; options are JupyterLab's own, such as --no-browser --port=8890
python3 -m kit plan SHEET [--out FOLDER]   set up, then print the plan of a batch sheet, and write its page into FOLDER
python3 -m kit losses FILE [--mapping M] [--prices P] [--targets T] [--out FOLDER]   set up, then read the records of many batches, print what was
                                   lost and where to look first, and write tables and page into FOLDER; exit status 0 read and analysed,
                                   1 something cannot be used, 2 wrong call, 3 the reader asks something about the file (answer it in a mapping);
                                   --product NAME --first DAY --last DAY take a part; more than 2,500 batches are searched by product and period
python3 -m kit check [PYTEST ARGUMENT ...]   set up, then run linter, types and every test, or only what pytest is told
"""


def stamp(pins: Path) -> str:
    """What the installed state depends on: the pins, the build file and this Python."""
    text = pins.read_bytes() + (ROOT / "pyproject.toml").read_bytes() + sys.version.encode()
    return hashlib.sha256(text).hexdigest()


def ensure(*pins: Path) -> None:
    """Make .venv and install each file of `pins`, unless that was done for just these."""
    marks = {one: VENV / f"installed-{one.parent.name}" for one in pins}
    due = [
        one
        for one, mark in marks.items()
        if not (mark.exists() and PYTHON.exists() and mark.read_text() == stamp(one))
    ]
    if due and not PYTHON.exists():
        print(f"Making the environment {VENV.name} ...", flush=True)
        if subprocess.run([sys.executable, "-m", "venv", str(VENV)]).returncode:
            sys.exit(
                "Python could not make a virtual environment. On Debian or Ubuntu: apt-get install python3-venv. Then run this again."
            )
    drawing = None
    for one in due:
        print(f"Installing {one.relative_to(ROOT)} (about 150 MB the first time) ...", flush=True)
        command = [
            str(PYTHON),
            "-m",
            "pip",
            "install",
            "--quiet",
            "--disable-pip-version-check",
            "--no-compile",  # what is never imported need not be
            *(["--no-deps"] if sys.platform == "linux" else []),  # where the pins are whole
            "-r",
            str(one.relative_to(ROOT)),
        ]
        if subprocess.run(command, cwd=ROOT).returncode:
            sys.exit(
                "pip could not install the pins; its message is above. With no network, install once where there is one. Then run this again."
            )
        if one == CLASSROOM:  # what the first panel would make, while the rest is installed
            quiet = VENV / "share" / "jupyter" / "lab" / "settings" / "overrides.json"
            quiet.parent.mkdir(parents=True, exist_ok=True)
            quiet.write_text(
                '{"@jupyterlab/apputils-extension:notification": {"fetchNews": "false", "checkForUpdates": false}}\n'
            )
            drawing = subprocess.Popen([str(PYTHON), "-c", KEEP_LIBRARY], cwd=ROOT)
    if drawing:
        drawing.wait()
    for one in due:
        marks[one].write_text(stamp(one))


def lab_command(arguments: list[str]) -> list[str]:
    """How JupyterLab is called: on a notebook, serving the whole folder unless an option names another. Exits where there is no such notebook."""
    named = bool(arguments) and not arguments[0].startswith("-")
    notebook, options = (arguments[0], arguments[1:]) if named else (FIRST, arguments)
    if not (ROOT / notebook).is_file():
        there = ", ".join(sorted(path.name for path in (ROOT / "notebooks").glob("*.ipynb")))
        sys.exit(f"There is no notebook {notebook}; notebooks/ holds: {there}")
    own = any(one.split("=")[0].endswith(("root_dir", "notebook_dir", "-dir")) for one in options)
    served = [] if own else [f"--ServerApp.root_dir={ROOT}"]
    far = any("gateway" in one.lower() or "kernel_websocket" in one for one in options)
    at_once = [] if far else [f"--ServerApp.kernel_websocket_connection_class={CONNECTION}"]
    return [str(PYTHON), "-m", "jupyterlab", notebook, *served, *at_once, *options]


def open_lab(*arguments: str) -> int:
    command = lab_command(list(arguments))
    ensure(CLASSROOM)
    return subprocess.run(command, cwd=ROOT, env=_with(ROOT)).returncode


def _with(*folders: Path) -> dict[str, str]:
    """The environment in which Python looks in these folders first, whatever the folder it is called from."""
    path = os.pathsep.join(filter(None, (*map(str, folders), os.environ.get("PYTHONPATH"))))
    return {**os.environ, "PYTHONPATH": path}


def check(*arguments: str) -> int:
    ensure(CLASSROOM, TESTS)
    env = _with(ROOT / "tests" / "lean")
    env.pop("PYTHONDONTWRITEBYTECODE", None)  # thirty processes would each compile the kit
    pytest = [str(PYTHON), "-m", "pytest"]
    if arguments:
        return subprocess.run([*pytest, *arguments], cwd=ROOT, env=env).returncode
    python = [str(PYTHON), "-m"]
    halves = ["-n", "2", "--dist", "loadfile", "--no-loadscope-reorder", "-q"]
    books = ["--nbval", "--nbval-current-env", "--nbval-cell-timeout=120"]
    quick = [
        subprocess.Popen([*python, *run], cwd=ROOT, env=env, stdout=subprocess.PIPE)
        for run in (["ruff", "check", "."], ["ruff", "format", "--check", "--quiet", "."], ["mypy"])
    ]
    tests = subprocess.run([*pytest, *halves, *books, "tests", "notebooks"], cwd=ROOT, env=env)
    for run in quick:
        print(run.communicate()[0].decode(errors="replace"), end="", flush=True)
    return max(tests.returncode, *(run.returncode for run in quick))


def main(arguments: list[str]) -> int:
    if sys.version_info < (3, 11):
        sys.exit(
            f"Cold Batter needs Python 3.11 or newer; this is {sys.version.split()[0]}. Run it with a newer python3."
        )
    match arguments:
        case ["open", *more]:
            return open_lab(*more)
        case [("plan" | "losses"), *_]:
            ensure(CLASSROOM)
            command = [str(PYTHON), "-m", "kit.lab.command", *arguments]
            return subprocess.run(command, env=_with(ROOT)).returncode
        case ["check", *more]:
            return check(*more)
        case [("-h" | "--help" | "help"), *_] | []:
            print(USAGE, end="")
            return 0
    print(f"There is no command {arguments[0]!r}.\n{USAGE}", end="", file=sys.stderr)
    return 2


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
