"""Serve the pages: on the loopback address, or (`--lan`) to paired devices of the owner's own network over TLS."""

from __future__ import annotations

import ipaddress
import socket
from datetime import UTC, datetime
from typing import Any

from ownship.errors import BadInput
from ownship.web.certificates import PRIVATE

HOST = "127.0.0.1"


def serve(port: int, lan: bool = False, address: str = "") -> None:
    """Run the pages until stopped; BadInput where the port is taken or the machine has no private network address."""
    import uvicorn

    from ownship.web.app import create_app

    host = "0.0.0.0" if lan else HOST
    _free(host, port)
    if not lan:
        _say(f"Ownship answers on http://{HOST}:{port} (Ctrl-C stops it).")
        uvicorn.run(create_app(), host=HOST, port=port, log_level="warning", proxy_headers=False, server_header=False)
        return
    who, tls = _lan(port, address)
    uvicorn.run(create_app(who), host=host, port=port, log_level="warning", proxy_headers=False, server_header=False, **tls)


def _free(host: str, port: int) -> None:
    with socket.socket() as probe:
        probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port))
        except OSError:
            raise BadInput(f"--port: {port} is taken or not allowed; choose another, such as --port {port % 60000 + 1}.") from None


def _lan(port: int, address: str) -> tuple[Any, dict[str, Any]]:
    """(who may ask, the server's TLS): the authority made on first use, a new certificate, a first code shown."""
    import segno

    from ownship.questions.record import record_folder
    from ownship.web.access import LOOPBACK, Access
    from ownship.web.certificates import authority, issue, keep_private
    from ownship.web.pairing import Pairing

    folder, now = record_folder() / "access", datetime.now(UTC)
    address, machine = own_address(address), socket.gethostname().lower()
    by = authority(folder, now, machine)
    names = (address, f"{machine.partition('.')[0]}.local", machine)
    chain, key = issue(by, (*names, "localhost", HOST), now)
    for name, content in (("server.pem", chain), ("server-key.pem", key)):
        keep_private(folder / name, content)
    pairing = Pairing(folder, lambda: datetime.now(UTC))
    code = pairing.code()
    where = f"https://{address}:{port}/pair?code={code}"
    _say(f"Ownship answers paired devices on https://{address}:{port}, this machine on https://{HOST}:{port} (Ctrl-C stops it).")
    _say(f"Certificate of this machine, SHA-256: {by.fingerprint}")
    _say(f"Pair a device within ten minutes: open {where} or take this picture. More codes: https://{HOST}:{port}/devices")
    segno.make(where, error="m").terminal(compact=True)
    return (Access((*LOOPBACK, *names), pairing),
            {"ssl_certfile": str(folder / "server.pem"), "ssl_keyfile": str(folder / "server-key.pem")})


def own_address(said: str = "") -> str:
    """The address said, else this machine's on its private network (nothing is sent to find it); BadInput where it is none."""
    found = said or _routed()
    try:
        private = any(ipaddress.ip_address(found) in ipaddress.ip_network(n) for n in PRIVATE if not n.startswith("127."))
    except ValueError:
        private = False
    if not private:
        raise BadInput(f"--lan: {found or 'no address'} is not an address of a private network; join the device's network, or name "
                       "this machine's address there with --address, such as --address 192.168.1.5.")
    return found


def _routed() -> str:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            probe.connect(("192.168.255.255", 9))
            return str(probe.getsockname()[0])
        except OSError:
            return ""


def _say(words: str) -> None:
    print(words, flush=True)  # noqa: T201 - the command's own words
