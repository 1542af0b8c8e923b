"""`loomproof web`: the console on the shop's tablet, for reading and for the location walk."""

from __future__ import annotations

import asyncio
import ipaddress
import secrets
import signal
import socket
import sys
from contextlib import suppress
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Annotated

import typer

from loomproof.cli.console.command import Resume, Where, Who
from loomproof.cli.console.desk_maker import need_box, need_job
from loomproof.cli.exit_codes import BAD_CALL
from loomproof.tui.desk.protocol import StartRefusedError

LOOPBACK = "127.0.0.1"
TOKEN_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Letters that are not confused when they are read from one screen and typed on another."""
TOKEN_GROUPS, GROUP_LETTERS = 4, 4
SOMEWHERE = "192.0.2.1"
"""An address for documentation (RFC 5737); nothing is sent to it."""
PORT = 8462
IPV4 = 4
NOTICE = (
    "Nothing is driven from a browser: it reads, senses, and walks. The stop on its screen stops the box; it is not "
    "an emergency stop."
)
WIDER = (
    "WARNING: anyone who has this address and its token sees the job and can use the box for sensing. The connection is "
    "not encrypted: use it in a network you trust, and end the server when you are done."
)


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("web", short_help="Serve the console to a browser for the walk.")(web)


def web(
    job: Annotated[
        Path | None, typer.Argument(metavar="JOB", help="The job file. Without it: the practice loom.")
    ] = None,
    box: Annotated[
        str | None, typer.Option("--box", metavar="URL", help="The box: a port name or pyserial URL.")
    ] = None,
    listen: Annotated[
        str | None,
        typer.Option(
            "--listen", metavar="ADDRESS", help="Address for others, e.g. 0.0.0.0; a token is then needed."
        ),
    ] = None,
    port: Annotated[int, typer.Option("--port", min=0, max=65535, help="Port; 0: any that is free.")] = PORT,
    who: Who = "",
    records: Where = None,
    resume: Resume = None,
) -> None:
    """Serve the console to a browser, on this machine only, unless --listen names an address.

    Nothing is driven from a browser: it shows the job, reads, senses and leads the location walk. One browser at a
    time. Closing the tab, leaving the page or ending this server stops the box; what was settled is kept, and the
    page opened again carries it on in the same record.

    Exit code: 0 ended by the operator, 2 bad job or call.
    """
    arguments = _arguments(job, box, who, records, resume)
    host = listen or LOOPBACK
    token = None if _is_loopback(host) else new_token()

    def announce(bound: int) -> None:
        address = f"http://{_shown(host)}:{bound}/"
        typer.echo(address + (f"?token={token}" if token else ""))
        typer.echo(NOTICE)
        if token is not None:
            typer.echo(f"On the other device open that, or {address} and type the token: {token}")
            if ipaddress.ip_address(host).is_unspecified:
                typer.echo("If it is in another network than that address, use this machine's address there.")
            typer.echo(WIDER)
        typer.echo("Ctrl+C ends it.")
        sys.stdout.flush()

    from loomproof.cli.web.server import WebServer  # noqa: PLC0415 - not for its help

    async def serve() -> None:
        until = asyncio.Event()
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            loop.add_signal_handler(number, until.set)
        with TemporaryDirectory(prefix="loomproof-") as folder:
            command = [*arguments, "--carry-on", str(Path(folder, "record"))]
            await WebServer(command, host, port, token=token, listening=announce).run(until)

    try:
        asyncio.run(serve())
    except OSError as error:
        typer.echo(f"{host} port {port} cannot be listened on: {error.strerror or error}.", err=True)
        raise typer.Exit(BAD_CALL) from None


def new_token() -> str:
    """Return a token that is short to type and too long to guess (79 bits)."""
    groups = [
        "".join(secrets.choice(TOKEN_LETTERS) for _ in range(GROUP_LETTERS)) for _ in range(TOKEN_GROUPS)
    ]
    return "-".join(groups)


def _shown(host: str) -> str:
    """Return an address as others write it; for all of this machine's, the one that leads to its network."""
    address = ipaddress.ip_address(LOOPBACK if host == "localhost" else host)
    if address.is_unspecified and address.version == IPV4:
        with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
            probe.connect((SOMEWHERE, 9))
            return str(probe.getsockname()[0])
    return f"[{host}]" if ":" in host else host


def _arguments(
    job: Path | None, box: str | None, who: str, records: str | None, resume: str | None
) -> list[str]:
    """Return the console's command; a bad job is refused now and not in the browser."""
    from loomproof.cli.console.open_desk import check_record, read_job  # noqa: PLC0415 - not for its help

    command = [sys.executable, "-m", "loomproof.cli.app"]
    more = [*(("--who", who) if who else ()), *(("--records", records) if records else ()), "--in-browser"]
    if job is None:
        if box is not None or resume is not None:
            need_job("web")
        return [*command, "demo", *more]
    if box is None:
        need_box("web", job)
    try:
        read_job(job)
        if resume is not None:
            check_record(records, resume)
    except StartRefusedError as refused:
        typer.echo(str(refused), err=True)
        raise typer.Exit(BAD_CALL) from None
    more += ("--resume", resume) if resume else ()
    return [*command, "open", str(job), "--box", box, *more]


def _is_loopback(host: str) -> bool:
    """Tell whether only this machine can reach an address; one that is no address is refused."""
    if host == "localhost":
        return True
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        typer.echo(
            f"--listen {host}: give an IP address of this machine, such as 0.0.0.0 for all of them.", err=True
        )
        raise typer.Exit(BAD_CALL) from None
