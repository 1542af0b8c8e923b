"""`loomproof web`: the console on the shop's tablet, for reading and for the location walk."""

from __future__ import annotations

import asyncio
import ipaddress
import secrets
import signal
import sys
from pathlib import Path
from typing import Annotated

import typer

from loomproof.cli.console import Where, Who

BAD_CALL = 2
LOOPBACK = "127.0.0.1"
PORT = 8462
NOTICE = (
    "Nothing is driven from a browser: it reads, senses, and walks. The stop on its screen stops the box; it is not "
    "an emergency stop."
)
WIDER = (
    "WARNING: whoever has this address and its token sees the job and can use the box for sensing. The connection is "
    "not encrypted: use it in a network you trust, and end the server when you are done."
)


def register(app: typer.Typer) -> None:
    """Add the command to the application."""
    app.command("web")(web)


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
) -> None:
    """Serve the console to a browser, on this machine only unless told otherwise.

    Nothing is driven from a browser: it shows the job, reads, senses and leads the location walk. One browser at a
    time. Closing the tab, leaving the page or ending this server stops the box.

    Exit code: 0 ended by the operator, 2 bad job or call.
    """
    arguments = _arguments(job, box, who, records)
    host = listen or LOOPBACK
    token = None if _is_loopback(host) else secrets.token_urlsafe(24)

    def told(bound: int) -> None:
        shown = host if ":" not in host else f"[{host}]"
        typer.echo(f"http://{shown}:{bound}/" + (f"?token={token}" if token else ""))
        typer.echo(NOTICE)
        if token is not None:
            if ipaddress.ip_address(host).is_unspecified:
                typer.echo("On another device write this machine's address in place of " + host + ".")
            typer.echo(WIDER)
        typer.echo("Ctrl+C ends it.")
        sys.stdout.flush()

    from loomproof.cli.web_server import WebServer

    async def serve() -> None:
        until = asyncio.Event()
        loop = asyncio.get_running_loop()
        for number in (signal.SIGINT, signal.SIGTERM, signal.SIGHUP):
            loop.add_signal_handler(number, until.set)
        await WebServer(arguments, host, port, token=token, told=told).run(until)

    try:
        asyncio.run(serve())
    except OSError as error:
        typer.echo(f"{host} port {port} cannot be listened on: {error.strerror or error}.", err=True)
        raise typer.Exit(BAD_CALL) from None


def _arguments(job: Path | None, box: str | None, who: str, records: str | None) -> list[str]:
    """Return the console's command; a bad job is told now and not in the browser."""
    from loomproof.cli.desks import need_box, need_job, read_job
    from loomproof.tui.desk import StartRefusedError

    command = [sys.executable, "-m", "loomproof.cli.app"]
    more = [*(("--who", who) if who else ()), *(("--records", records) if records else ()), "--in-browser"]
    if job is None:
        if box is not None:
            need_job("web")
        return [*command, "demo", *more]
    if box is None:
        need_box("web", job)
    try:
        read_job(job)
    except StartRefusedError as refused:
        typer.echo(str(refused), err=True)
        raise typer.Exit(BAD_CALL) from None
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
