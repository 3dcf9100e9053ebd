"""A real JupyterLab in a real Chromium, offline: how the browser tests and the screenshots open a notebook."""

import json
import os
import shutil
import signal
import socket
import subprocess
import sys
import time
import urllib.request
from contextlib import contextmanager
from pathlib import Path
from urllib.parse import urlsplit

from kit.__main__ import CONNECTION

CHROMIUM = (
    shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
)
ROOT = Path(__file__).resolve().parents[2]
START = "Back to the start"
AXE_TAGS = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return probe.getsockname()[1]


@contextmanager
def server(folder: Path, home: Path, *command: str):
    """`command` (default JupyterLab) on `folder`, with a HOME and settings of its own; ended by its own process id."""
    port = free_port()
    settings = home / "settings" / "@jupyterlab" / "apputils-extension"
    settings.mkdir(parents=True, exist_ok=True)
    (settings / "notification.jupyterlab-settings").write_text(
        '{"fetchNews": "false", "checkForUpdates": false}'
    )
    (home / "config" / "labconfig").mkdir(parents=True, exist_ok=True)
    (home / "config" / "labconfig" / "page_config.json").write_text(
        '{"buildCheck": false, "buildAvailable": false}'  # else it asks node whether to build itself anew
    )
    env = {
        **os.environ,
        "HOME": str(home),
        "COLD_BATTER_CLASSES": str(folder / "my_classes"),
        "JUPYTERLAB_SETTINGS_DIR": str(home / "settings"),
        "JUPYTER_RUNTIME_DIR": str(home / "runtime"),
        "JUPYTER_DATA_DIR": str(home / "data"),
        "JUPYTER_CONFIG_DIR": str(home / "config"),
        "IPYTHONDIR": str(home / "ipython"),
        "JUPYTERLAB_WORKSPACES_DIR": str(home / "workspaces"),
        "COLD_BATTER_BATCHES": str(home / "my_batches"),
        "PYTHONPATH": os.pathsep.join(filter(None, (str(ROOT), os.environ.get("PYTHONPATH")))),
    }
    arguments = command or (
        "-m",
        "jupyterlab",
        "--no-browser",
        "--allow-root",
        "--expose-app-in-browser",
        "--LabApp.extension_manager=readonly",
        "--ServerApp.port_retries=0",
        "--IdentityProvider.token=",
        "--ServerApp.password=",
        f"--ServerApp.root_dir={folder}",
        f"--ServerApp.kernel_websocket_connection_class={CONNECTION}",
        f"--ServerApp.port={port}",
    )
    arguments = [a.replace("{port}", str(port)) for a in arguments]
    with (home / "server.log").open("wb") as log:
        process = subprocess.Popen(
            [sys.executable, *arguments],
            cwd=folder,
            env=env,
            stdout=log,
            stderr=subprocess.STDOUT,
            start_new_session=True,
        )
        try:
            _wait_until_up(f"http://127.0.0.1:{port}/", process, home / "server.log")
            yield f"http://127.0.0.1:{port}"
        finally:
            process.send_signal(signal.SIGTERM)
            try:
                process.wait(15)
            except subprocess.TimeoutExpired:
                os.killpg(process.pid, signal.SIGKILL)
                process.wait(5)


def _wait_until_up(address: str, process, log: Path, seconds: float = 60):
    deadline = time.monotonic() + seconds
    while time.monotonic() < deadline:
        if process.poll() is not None:
            raise RuntimeError(
                f"the server ended at once:\n{log.read_text(errors='replace')[-2000:]}"
            )
        try:
            urllib.request.urlopen(address, timeout=2).read(1)
            return
        except OSError as error:
            if getattr(error, "code", 0):
                return
            time.sleep(0.15)
    raise RuntimeError(f"the server did not answer within {seconds} s")


@contextmanager
def browser(home: Path, width: int = 1440, height: int = 900, scale: float = 0.5):
    """A page in a fresh Chromium that can reach this machine only; `page.outside` lists what it asked of others."""
    from playwright.sync_api import sync_playwright

    with sync_playwright() as play:
        context = play.chromium.launch_persistent_context(
            str(home / "profile"),
            executable_path=CHROMIUM,
            headless=True,
            viewport={"width": width, "height": height},
            device_scale_factor=scale,  # painting in software is most of the work; no test looks at pixels
            args=[
                "--no-sandbox",
                "--disable-gpu",
                "--in-process-gpu",
                "--disable-quic",
                "--no-first-run",
                "--disable-background-networking",
                "--disable-component-update",
                "--disable-sync",
                "--js-flags=--expose-gc --no-maglev --no-turbofan",  # no page lives long enough to gain
                "--enable-precise-memory-info",
            ],
        )
        outside: list[str] = []
        faults: list[str] = []

        def watch(route):
            address = route.request.url
            if address.startswith(("data:", "blob:")) or urlsplit(address).hostname in (
                "127.0.0.1",
                "localhost",
            ):
                return route.continue_()
            outside.append(address)
            return route.abort()

        context.route("**/*", watch)
        page = context.pages[0]
        page.on(
            "websocket",
            lambda socket: (
                outside.append(socket.url)
                if urlsplit(socket.url).hostname not in ("127.0.0.1", "localhost")
                else None
            ),
        )
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.outside, page.faults = outside, faults
        try:
            yield page
        finally:
            context.close()


def open_and_run(page, base: str, name: str, seconds: float = 90):
    """Open a notebook in JupyterLab, run all of it and wait until the kernel rests and the panels are drawn.

    The page is loaded once; the notebook before is closed there, and its kernel ended, as a person would.
    """
    page.lesson = None
    if not page.url.startswith(base):
        page.goto(f"{base}/lab?reset")
        page.wait_for_function("() => window.jupyterapp?.shell", timeout=seconds * 1000)
        page.evaluate("() => window.jupyterapp.restored")
        page.evaluate(
            "() => window.jupyterapp.commands.execute('application:toggle-left-area').catch(() => 0)"
        )
    page.evaluate(
        """async name => {
        const app = window.jupyterapp;
        for (const shown of [...app.shell.widgets('main')]) {
            await shown.sessionContext?.shutdown();
            shown.dispose();
        }
        const {sessionContext} = await app.commands.execute('docmanager:open', {path: name, factory: 'Notebook'});
        await sessionContext.ready;
        const {kernel} = sessionContext.session;
        await kernel.info;
        await kernel.requestKernelInfo() }""",  # one that rested before the page listened says so again
        name,
    )
    page.wait_for_function(
        """name => { const nb = window.jupyterapp.shell.currentWidget;
        return nb?.context?.path === name && nb.content.widgets.length && nb.sessionContext.session?.kernel?.status === 'idle' }""",
        arg=name,
        timeout=seconds * 1000,
    )
    page.evaluate("() => window.jupyterapp.commands.execute('notebook:run-all-cells')")
    page.wait_for_function(
        """() => { const nb = window.jupyterapp.shell.currentWidget;
        return nb.sessionContext.session.kernel.status === 'idle' && nb.content.widgets.every(
            c => c.model.type !== 'code' || !c.model.sharedModel.getSource().trim() || c.model.executionCount) }""",
        timeout=seconds * 1000,
    )


def lesson(page, name: str):
    """A notebook run whole at 1366 × 768, side bar open, every panel drawn. One that stands open is taken over, each panel back at its start."""
    page.set_viewport_size({"width": 1366, "height": 768})
    if page.lesson == name:
        for one in page.locator(".cb-box", has=page.get_by_role("button", name=START)).all():
            by_hand(one, "await hand.press(box, panel, asked)", START)
        settle(page)
    else:
        page.outside.clear()
        page.faults.clear()
        open_and_run(page, page.base, name)
        page.lesson = name
    page.evaluate("() => window.jupyterapp.shell.expandLeft()")
    for n in range(panels(page).count()):
        panels(page).nth(n).scroll_into_view_if_needed()
        wait_drawn(page, n)
    return page


def panels(page):
    return page.locator(".cb-panel")


def wait_drawn(page, index: int = 0, seconds: float = 30):
    """Until panel `index` has said its sentence and drawn every chart."""
    page.wait_for_function(
        """i => { const p = document.querySelectorAll('.cb-panel')[i];
        return p && p.dataset.tick && [...p.querySelectorAll('.cb-chart')].filter(c => c.childElementCount).every(c => c.querySelector('svg')?.getBoundingClientRect().width > 50) }""",
        arg=index,
        timeout=seconds * 1000,
    )


def settle(page):
    """Until the kernel has answered all that the page has sent it, and all that the page sent upon those answers."""
    page.evaluate("""async () => {
        const {kernel} = window.jupyterapp.shell.currentWidget.sessionContext.session;
        for (let turn = 0; turn < 3; turn++) {
            await new Promise(resolve => requestAnimationFrame(() => setTimeout(resolve, 20)));
            await kernel.requestKernelInfo();
        }
        await new Promise(requestAnimationFrame); }""")


HAND = (Path(__file__).parent / "hand.js").read_text(encoding="utf-8")


def by_hand(box, what: str, asked=None):
    """`what` done in the page by hand.js: a tenth of the messages that the same moves take from outside."""
    return box.evaluate(
        "async (box, asked) => { const panel = box.querySelector('.cb-panel');\n"
        f"{HAND}\nreturn {what}; }}",
        asked,
    )


def words(panel) -> list[str]:
    """All that a panel says: sentence, tables and folds as they stand, the words of the charts sorted (their order in the page is not their place)."""
    return panel.evaluate("""p => [...[...p.children].filter(c => !c.matches('.cb-charts')).map(c => c.textContent),
        ...[...p.querySelectorAll('.cb-charts text')].map(t => t.textContent).sort()]""")


def axe(page, selector: str = ".jp-OutputArea") -> list[str]:
    """WCAG A and AA violations inside the outputs, each with the element at fault.

    The notebook leaves cells off the screen unrendered, so all are rendered while they are looked at.
    """
    import axe_playwright_python

    page.evaluate(
        (Path(axe_playwright_python.__file__).parent / "axe.min.js").read_text(encoding="utf-8")
    )
    found = page.evaluate(
        """async ([selector, tags]) => {
        const style = document.createElement('style'), frame = () => new Promise(requestAnimationFrame);
        style.textContent = '* { content-visibility: visible !important }';
        document.head.append(style); await frame(); await frame();
        try {
            const areas = [...document.querySelectorAll(selector)].filter(area => area.childElementCount);
            const options = {runOnly: {type: 'tag', values: tags}, resultTypes: ['violations'], selectors: false};
            return (await axe.run(areas, options)).violations.map(
                v => [v.id, v.impact, v.nodes.map(n => n.html.slice(0, 160))]);
        } finally { style.remove(); } }""",
        [selector, AXE_TAGS],
    )
    return [json.dumps(violation) for violation in found]
