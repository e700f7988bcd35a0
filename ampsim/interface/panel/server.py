"""Loaded by the notebook server that `ampsim.interface.jupyter` starts: small messages leave at once."""

from __future__ import annotations

from typing import Any

from jupyter_server.services.kernels.connection.channels import ZMQChannelsWebsocketConnection


class PromptConnection(ZMQChannelsWebsocketConnection):
    """The server's usual connection with TCP_NODELAY set.

    Without it a message can wait 40 ms for the acknowledgement of the one before (Nagle's algorithm, RFC 896, and
    delayed acknowledgement, RFC 1122): the tail of every drag.
    """

    def connect(self) -> Any:
        """Set the option, then connect as usual."""
        self.websocket_handler.set_nodelay(True)
        return super().connect()
