"""The commands of the desk: serve it, and the tokens of programs that use its API."""

from __future__ import annotations

from handover.base.text import for_terminal
from handover.cli.exit_codes import DONE
from handover.cli.option_values import (
    config_of,
    limits_of,
    now,
    require_engine,
    settings_of,
    time_of_issue,
    to_path,
)

TYPE_CHECKING = False
if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from handover.cli.options import Options
    from handover.service.desk.database import Desk
    from handover.service.desk.work import DeskWork

DEFAULT_ARCHIVE = "archive"
"""The folder that is served where nothing names another."""


def serve(options: Options) -> int:
    """Serve the desk until it is stopped."""
    _require_desk()
    require_engine()
    from handover.desk.app import DeskAddress
    from handover.desk.server import read_listen, run_server
    from handover.service.desk.people import renew_setup

    host, port = read_listen(options.listen)
    address = DeskAddress((options.url or f"http://{host}:{port}").rstrip("/"))
    desk = _open(options)
    try:
        secret = renew_setup(desk)
        if secret is not None:
            print("Open this address once. Whoever opens it first names the firm and becomes its owner:")
            print(f"    {address.url}/join/{secret}")
        else:
            print(f"The desk is at {for_terminal(address.url)}.")
        print("Stop it with Ctrl-C.", flush=True)
        run_server(_work(options, desk), address, host, port, behind_proxy=options.behind_proxy)
    except KeyboardInterrupt:
        pass
    finally:
        desk.close()
    return DONE


def token(options: Options) -> None:
    """Make or withdraw a token of the API."""
    _require_desk()
    from handover.errors import UnusableInput
    from handover.service.desk.api_tokens import new_token, withdraw_token
    from handover.service.desk.refusals import DeskRefusal

    desk = _open(options)
    try:
        if options.action == "new":
            print(new_token(desk, options.name, "command line"))
        else:
            withdraw_token(desk, options.name, "command line")
    except DeskRefusal:
        expected = "a name that no token in use has; `handover token withdraw NAME` withdraws one"
        raise UnusableInput.with_finding("cannot be the name of a token", expected=expected) from None
    finally:
        desk.close()


def _open(options: Options) -> Desk:
    """Return the desk of the archive that the settings name."""
    import secrets

    from handover.service.desk.database import open_desk

    config = config_of(options)
    folder = config.archive or to_path(DEFAULT_ARCHIVE)
    return open_desk(
        folder,
        now=_clock(options),
        random_bytes=secrets.token_bytes,
        url=config.catalog,
        group=config.archive_group,
    )


def _clock(options: Options) -> Callable[[], datetime]:
    """Return the clock of the desk: that of the machine, or one that begins at the time of --as-of."""
    if getattr(options, "as_of", None) is None:
        return now
    late_by = now() - time_of_issue(options)
    return lambda: now() - late_by


def _work(options: Options, desk: Desk) -> DeskWork:
    """Return the background work of a desk, with the choices that the settings name."""
    from handover.service.desk.work import MAX_DESK_WORKERS, DeskWork
    from handover.service.pdf_workers import core_count

    config = config_of(options)
    return DeskWork(
        desk,
        settings_of(options),
        key=config.open_meteo_key,
        workers=config.workers or min(core_count(), MAX_DESK_WORKERS),
        limits=limits_of(options),
        url=config.catalog,
    )


def _require_desk() -> None:
    """Refuse where the libraries of the desk are not installed."""
    from importlib.util import find_spec

    from handover.errors import UnusableInput

    missing = [
        each for each in ("argon2", "dbos", "fastapi", "starlette", "uvicorn") if find_spec(each) is None
    ]
    if missing:
        problem = f"the desk is not installed ({', '.join(missing)})"
        raise UnusableInput.with_finding(problem, expected="pip install 'handover[desk]'")
