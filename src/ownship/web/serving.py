"""Serve the page on the loopback address."""

from __future__ import annotations

from ownship.errors import BadInput

HOST = "127.0.0.1"


def serve(port: int) -> None:
    """Run the page until it is stopped; BadInput where the port is taken."""
    import socket

    import uvicorn

    from ownship.web.app import create_app

    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((HOST, port))
        except OSError:
            raise BadInput(f"--port: {port} is taken or not allowed; choose another, such as --port {port % 60000 + 1}.") from None
    print(f"Ownship answers on http://{HOST}:{port} (Ctrl-C stops it).")  # noqa: T201 - the command's own words
    uvicorn.run(create_app(), host=HOST, port=port, log_level="warning")
