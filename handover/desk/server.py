"""The program that listens: uvicorn with the desk."""

from __future__ import annotations

from typing import TYPE_CHECKING

from handover.desk.app import create_app
from handover.errors import UnusableInput

if TYPE_CHECKING:
    from handover.desk.app import DeskAddress
    from handover.service.desk.work import DeskWork

MAX_PORT = 65_535
SHUTDOWN_S = 20


def read_listen(text: str) -> tuple[str, int]:
    """Return host and port of a text: "127.0.0.1:8080", "[::1]:8080", "8080".

    Raises:
        UnusableInput: It is neither.
    """
    host, _, port = text.rpartition(":")
    if port.isascii() and port.isdigit() and 0 < int(port) <= MAX_PORT:
        return host.strip("[]") or "127.0.0.1", int(port)
    expected = "an address of this machine and a port"
    raise UnusableInput.with_finding(
        "is not an address to listen on", field="--listen", expected=expected, example="127.0.0.1:8080"
    )


def run_server(
    work: DeskWork, address: DeskAddress, host: str, port: int, *, behind_proxy: bool = False
) -> None:
    """Listen until the process is asked to stop.

    Args:
        work: The background work of the desk; it is begun before anybody is let in.
        address: Where people reach it.
        host: To listen on.
        port: To listen on.
        behind_proxy: Whether a proxy of ours stands before it, which says where requests come from.
    """
    import uvicorn  # noqa: PLC0415 - heavy

    with work:
        uvicorn.run(
            create_app(work.desk, address, work),
            host=host,
            port=port,
            log_level="warning",
            access_log=False,
            server_header=False,
            proxy_headers=behind_proxy,
            forwarded_allow_ips="*" if behind_proxy else None,
            timeout_graceful_shutdown=SHUTDOWN_S,
        )
