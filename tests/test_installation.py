"""`kit.doctor()`, as the first page and the README advise it: as often as a person likes, in one session."""

import json
import subprocess
import sys
from pathlib import Path

import pytest

import kit
from kit.__main__ import CONNECTION, FIRST, ROOT, lab_command


def test_the_doctor_answers_again_and_again():
    first, second = kit.doctor(), kit.doctor()
    assert str(first) == str(second) and len(first.checks) > 10
    assert first.details().count("\n") == len(first.checks) - 1


def test_no_call_bears_the_name_of_a_module():
    """The import of kit/x.py puts the module in the place of kit.x, so a call of that name would answer only once."""
    for call in kit._CALLS:
        assert not list(Path(kit.__file__).parent.glob(f"{call}*")), call


def test_a_misspelt_call_is_answered_with_the_nearest_names_only():
    with pytest.raises(AttributeError, match="'read_shet'; nearest: read_sheet") as caught:
        _ = kit.read_shet
    assert len(str(caught.value)) < 120


def test_open_serves_the_whole_folder_and_hands_options_on():
    root = f"--ServerApp.root_dir={ROOT}"
    prompt = f"--ServerApp.kernel_websocket_connection_class={CONNECTION}"
    assert lab_command([])[2:] == ["jupyterlab", FIRST, root, prompt]
    told = lab_command(["notebooks/02_cure.ipynb", "--port", "8890", "--no-browser"])
    assert told[3:] == ["notebooks/02_cure.ipynb", root, prompt, "--port", "8890", "--no-browser"]
    assert lab_command(["--no-browser"])[3:] == [FIRST, root, prompt, "--no-browser"]
    own = lab_command(["--notebook-dir=elsewhere", "--no-browser"])
    assert own[3:] == [FIRST, prompt, "--notebook-dir=elsewhere", "--no-browser"]
    with pytest.raises(SystemExit, match="no notebook nowhere.ipynb"):
        lab_command(["nowhere.ipynb"])


def test_a_server_with_a_gateway_keeps_its_own_connection():
    for option in ("--gateway-url=http://else", "--ServerApp.kernel_websocket_connection_class=x"):
        assert not any(CONNECTION in one for one in lab_command([option]))


def test_the_server_lists_the_demo_data_beside_the_notebooks():
    """JupyterLab itself reads the command: its root, the notebook it opens, and what stands in data/demo."""
    code = (
        "import asyncio, json, os, sys; from jupyterlab.labapp import LabApp; from kit.__main__ import lab_command; "
        "app = LabApp.initialize_server(argv=lab_command(['--no-browser', '--port=8897'])[3:]); "
        "there = app.contents_manager.get('data/demo'); "
        "there = asyncio.run(there) if asyncio.iscoroutine(there) else there; "
        "print(json.dumps([app.root_dir, app.file_to_run, app.port, [one['name'] for one in there['content']], "
        "app.kernel_websocket_connection_class.__name__]))"
    )
    ran = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True)
    root, opened, port, names, connection = json.loads(ran.stdout.splitlines()[-1])
    assert connection == "PromptConnection"
    assert Path(root) == ROOT and Path(opened) == ROOT / FIRST and port == 8897
    assert {"teaching_kitchen.toml", "demo_frankfurter.toml"} <= set(names)


def test_the_connection_sends_small_messages_without_waiting(monkeypatch):
    """TCP_NODELAY (RFC 9293, 3.7.4: an application may turn the waiting off) is set on a real socket of a real server."""
    import asyncio
    import socket
    from concurrent.futures import ThreadPoolExecutor

    from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection
    from tornado import httpserver, testing, web, websocket

    from kit.lab.server import PromptConnection

    monkeypatch.setattr(ZMQChannelsWebsocketConnection, "connect", lambda self: None)
    found = []

    class Handler(websocket.WebSocketHandler):
        def open(self):
            here = self.ws_connection.stream.socket
            before = here.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)
            connection = PromptConnection.__new__(PromptConnection)
            connection._trait_values["websocket_handler"] = self  # no kernel stands behind this one
            connection.connect()
            found.extend((before, here.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)))
            self.close()

    async def call():
        listening, port = testing.bind_unused_port()
        server = httpserver.HTTPServer(web.Application([("/", Handler)]))
        server.add_sockets([listening])
        client = await websocket.websocket_connect(f"ws://127.0.0.1:{port}/")
        assert await client.read_message() is None
        server.stop()

    with ThreadPoolExecutor(
        1
    ) as other:  # a browser test before may have left a loop in this thread
        other.submit(asyncio.run, call()).result(timeout=60)
    assert found[0] == 0 and found[1] != 0


def test_lessons_that_need_no_tables_do_without_pandas():
    """30 MB and a fifth of a second of every kernel of a class."""
    code = "import sys, kit.lab.panels.chop, kit.lab.panels.plan; sys.exit('pandas' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT).returncode == 0
