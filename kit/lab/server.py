"""The kernel's answers sent to the page at once.

JupyterLab's socket waits, as sockets do by default, until the page has confirmed one small message before it sends the next; a move of a slider is
answered in four or five, so every move waited 30 ms or more for nothing. `python3 -m kit open` asks for this connection instead.
"""

from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection


class PromptConnection(ZMQChannelsWebsocketConnection):
    def connect(self):
        self.websocket_handler.set_nodelay(True)
        return super().connect()
