"""Found before the library of this name while `python3 -m kit check` runs: a kernel is a fork of one process that has loaded the kit.

Notebooks and browser start forty kernels, and each would spend more than a second of processor time on the same imports. The process that is
forked (`serve`, begun by `check`) has imported modules and made nothing: names, caches, environment and working folder are the kernel's own.
Where nobody serves, a kernel starts as it always does.
"""

import json
import os
import signal
import socket
import sys

ASKED = "COLD_BATTER_KERNELS"
"""the environment variable that names the socket"""


def serve(path: str) -> None:
    import gc
    from importlib import import_module
    from pkgutil import walk_packages

    os.environ["ARROW_DEFAULT_MEMORY_POOL"] = (
        "system"  # a fork takes no thread along, so none is begun
    )
    os.environ["OPENBLAS_NUM_THREADS"] = os.environ["OMP_NUM_THREADS"] = "1"

    import kit.lab  # as it is installed, or nobody serves

    rooms = [found.name for found in walk_packages(kit.lab.__path__, "kit.lab.")]
    for name in ("ipykernel.kernelapp", "ipykernel.ipkernel", "pandas", "scipy.stats", *rooms):
        import_module(name)
    gc.freeze()
    listener = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
    listener.bind(path)
    listener.listen(64)
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    while True:
        link, _ = listener.accept()
        if os.fork() == 0:
            listener.close()
            return become(link)
        link.close()


def become(link: socket.socket) -> None:
    """The kernel that the other end of `link` asked for; it ends when that end does, and is interrupted by what it sends."""
    from threading import Thread

    from ipykernel.kernelapp import launch_new_instance

    text, streams, *_ = socket.recv_fds(link, 1 << 20, 3)
    asked = json.loads(text)
    os.setsid()
    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
    for stream, place in zip(streams, (0, 1, 2)):
        os.dup2(stream, place)
        os.close(stream)
    os.environ.clear()
    os.environ.update(asked["environment"])
    os.chdir(asked["folder"])
    sys.argv = asked["arguments"]

    def heed():
        while link.recv(1):
            os.kill(os.getpid(), signal.SIGINT)
        os._exit(0)

    Thread(target=heed, daemon=True).start()
    launch_new_instance()


def ask() -> bool:
    """Whether a kernel was had; returns when it has ended."""
    try:
        link = socket.socket(socket.AF_UNIX, socket.SOCK_SEQPACKET)
        link.connect(os.environ[ASKED])
    except (KeyError, AttributeError, OSError):
        return False
    about = {"arguments": sys.argv, "folder": os.getcwd(), "environment": dict(os.environ)}
    signal.signal(signal.SIGINT, lambda *_: link.send(b"."))
    socket.send_fds(link, [json.dumps(about).encode()], [0, 1, 2])
    link.recv(1)
    return True


if __name__ == "__main__":
    del sys.path[0]  # the working folder, as the library's own file does
    if sys.argv[1:2] == ["serve"]:
        serve(sys.argv[2])
    elif not ask():
        from ipykernel.kernelapp import launch_new_instance

        launch_new_instance()
