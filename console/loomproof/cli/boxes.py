"""`loomproof boxes`: which ports there are and what answers on them."""

from typing import Annotated

import typer
from rich import box as table_shapes
from rich.console import Console
from rich.table import Table

from loomproof.box.connect import Found, list_boxes
from loomproof.cli.exit_codes import NOTHING_ANSWERS
from loomproof_wire.messages import FRAME, STOP_REASON_TEXT, BoxState, Status


def register(app: typer.Typer) -> None:
    """Add the command."""
    app.command("boxes", short_help="List serial ports and the boxes that answer.")(boxes)


def boxes(
    urls: Annotated[
        list[str] | None,
        typer.Argument(
            metavar="[URL]...", help="Further places to ask: socket://HOST:PORT, sim://, a device."
        ),
    ] = None,
    baud: Annotated[int, typer.Option("--baud", help="Line rate of serial ports.")] = FRAME.default_baud,
    ports: Annotated[
        bool,
        typer.Option(
            "--ports/--no-ports", help="Ask the serial ports of this machine, or only the places given."
        ),
    ] = True,
) -> None:
    """List the serial ports and say which box answers on each.

    NOTICE: asking opens every port, ends any session that another console has with a box there, and sends a
    few bytes to whatever else is on it.

    Exit code: 0 when at least one box answers, 3 when none does.
    """
    found = list_boxes(urls or (), ports=ports, baud=baud)
    console = Console(highlight=False)
    if found:
        console.print(_table(found))
    answering = [entry for entry in found if entry.identity is not None]
    if not answering:
        console.print(
            "No box answers. Check that it has power and that its USB cable carries data, then ask again; "
            "`loomproof boxes sim://` asks a simulated one."
        )
        raise typer.Exit(NOTHING_ANSWERS)


def _table(found: tuple[Found, ...]) -> Table:
    table = Table(box=table_shapes.SIMPLE_HEAD, pad_edge=False)
    table.add_column("port", overflow="fold")
    table.add_column("what answers", overflow="fold")
    table.add_column("channels", justify="right")
    table.add_column("state", overflow="fold")
    for entry in found:
        port = f"{entry.url}\n{entry.description}" if entry.description not in ("", "n/a") else entry.url
        if entry.identity is None or entry.status is None:
            table.add_row(port, f"no box: {entry.problem}", "", "")
            continue
        who = entry.identity
        simulated = " (simulated)" if who.simulated else ""
        table.add_row(
            port,
            f"{who.board}{simulated}\nserial {who.serial_number}, firmware {who.firmware_version}, "
            f"protocol {who.protocol_major}.{who.protocol_minor}",
            str(who.channel_count),
            _state(entry.status),
        )
    return table


def _state(status: Status) -> str:
    supply = f"supply {status.supply_mv / 1000:.1f} V"
    if status.stop_input_open:
        supply += ", stop input open"
    if status.state is BoxState.STOPPED:
        return f"stopped: {STOP_REASON_TEXT[status.stop_reason]}\n{supply}"
    return f"{status.state.name.lower()}\n{supply}"
