"""The `loomproof-sim` command: a simulated box for other programs, and traces of simulated loads."""

import selectors
import sys
import time
from importlib import import_module
from importlib.util import find_spec
from pathlib import Path
from typing import Annotated, Any, Never

import typer

from loomproof_sim.box import SimBox
from loomproof_sim.scenario import Scenario, ScenarioError, build_box, load_scenario, make_scenario
from loomproof_sim.server.addresses import ServeError, listen, parse_address
from loomproof_sim.server.box_server import HandsServer, Server, TypedHands
from loomproof_sim.server.ports import PtyPort, ServedPort, TcpPort

BAD_USAGE = 2
CANNOT_LISTEN = 3
MISHAP = 4


def serve(  # noqa: PLR0917 - each one is an option of the command
    pty: Annotated[bool, typer.Option("--pty", help="Serve on a pseudo-terminal.")] = False,
    tcp: Annotated[str | None, typer.Option(metavar="HOST:PORT", help="Serve on a TCP port.")] = None,
    job: Annotated[Path | None, typer.Option(help="Job file whose loom hangs on the box.")] = None,
    scenario: Annotated[Path | None, typer.Option(help="Scenario file; options override it.")] = None,
    fault: Annotated[list[str] | None, typer.Option(help="Such as open:5; may be repeated.")] = None,
    seed: Annotated[int | None, typer.Option(help="Draws parts, errors and noise.")] = None,
    spread: Annotated[float | None, typer.Option(help="How much of each tolerance is used, 0 to 1.")] = None,
    supply_v: Annotated[float | None, typer.Option(help="Supply voltage, V.")] = None,
    temperature_c: Annotated[float | None, typer.Option(help="Of the loom, degC.")] = None,
    profile: Annotated[str | None, typer.Option(help="Board: reference or twelve_bit.")] = None,
    hands: Annotated[str | None, typer.Option(metavar="HOST:PORT", help="JSON lines for the hands.")] = None,
    elf: Annotated[
        Path | None,
        typer.Option(help="Run this firmware (of either board) instead of the simulated controller."),
    ] = None,
    listen_anywhere: Annotated[
        bool, typer.Option("--listen-anywhere", help="Allow addresses that other machines can reach.")
    ] = False,
) -> None:
    """Serve a simulated box in real time; print `ready URL`; end on SIGTERM with every output off.

    Lines on standard input act on the loom: pull 5, seat 5, wiggle 5, supply off, stop press, stop release.
    """
    if pty == (tcp is not None):
        _fail("give either --pty or --tcp HOST:PORT", BAD_USAGE)
    options: dict[str, Any] = {
        "job": job,
        "seed": seed,
        "spread": spread,
        "supply_v": supply_v,
        "temperature_c": temperature_c,
        "profile": profile,
    }
    box = _box(scenario, options, fault or [], elf)
    began_s, began_box_s = time.monotonic(), box.now_s()
    _serve(box, tcp, hands, anywhere=listen_anywhere)
    if elf is not None:
        _report_firmware(box, box.now_s() - began_box_s, time.monotonic() - began_s)


def _serve(box: SimBox, tcp: str | None, hands: str | None, *, anywhere: bool) -> None:
    """Serve a box until a signal ends it; without a TCP address on a pseudo-terminal."""
    with selectors.DefaultSelector() as selector:
        try:
            port = _port(selector, tcp, box, anywhere=anywhere)
            hands_server = _hands(selector, hands, box, anywhere=anywhere)
        except ServeError as error:
            _fail(str(error), CANNOT_LISTEN)
        TypedHands(selector, sys.stdin, box)
        Server(box, selector).run(port, lambda: print(f"ready {port.url}", flush=True))
        port.close()
        if hands_server is not None:
            hands_server.close()


def _box(scenario: Path | None, options: dict[str, Any], faults: list[str], elf: Path | None) -> SimBox:
    try:
        keys = {} if scenario is None else load_scenario(scenario)
        keys |= {name: value for name, value in options.items() if value is not None}
        keys["faults"] = [*keys.get("faults", ()), *faults]
        made: Scenario = make_scenario(keys)
        if made.clock != "real":
            raise ScenarioError("clock: a served box runs in real time; leave it out")
        return build_box(made) if elf is None else _firmware_box(made, elf)
    except ScenarioError as error:
        _fail(str(error), BAD_USAGE)


def _firmware_box(scenario: Scenario, elf: Path) -> SimBox:
    """Return a box run by a firmware; the co-simulation is a package of its own, under another licence."""
    try:
        elf_box = import_module("loomproof_cosim.elf_box")
        library = import_module("loomproof_cosim.library")
    except ModuleNotFoundError as error:
        _fail(f"--elf needs the co-simulation, which comes with the source tree only ({error})", BAD_USAGE)
    try:
        box: SimBox = elf_box.build_elf_box(scenario, elf)
    except library.CosimError as error:
        _fail(str(error), BAD_USAGE)
    return box


def _report_firmware(box: SimBox, box_s: float, machine_s: float) -> None:
    """Report whether the simulation kept pace and what went wrong in the firmware; exit with a code if anything did."""
    mishaps: dict[str, int] = box.controller.mishaps()  # type: ignore[attr-defined]  # a firmware has them
    counts = ", ".join(f"{count} {name}" for name, count in mishaps.items())
    pace = f"{box_s:.2f} s in {machine_s:.2f} s, {box_s / machine_s:.0%} of real time"
    print(f"firmware ran {pace}: {counts}", file=sys.stderr)
    if any(mishaps.values()):
        raise typer.Exit(MISHAP)


def _port(selector: selectors.BaseSelector, tcp: str | None, box: SimBox, *, anywhere: bool) -> ServedPort:
    if tcp is None:
        return PtyPort(selector, box.write)
    return TcpPort(selector, listen(parse_address(tcp, anywhere=anywhere)), box.write)


def _hands(
    selector: selectors.BaseSelector, address: str | None, box: SimBox, *, anywhere: bool
) -> HandsServer | None:
    if address is None:
        return None
    server = HandsServer(selector, listen(parse_address(address, anywhere=anywhere)), box)
    print(f"hands {server.address}", flush=True)
    return server


def _fail(text: str, code: int) -> Never:
    print(f"loomproof-sim: {text}", file=sys.stderr)
    raise typer.Exit(code)


def build_app() -> typer.Typer:
    """Return the application with every command registered."""
    app = typer.Typer(
        name="loomproof-sim",
        help="A simulated Loomproof box and the loom behind it.",
        no_args_is_help=True,
        rich_markup_mode=None,
        pretty_exceptions_enable=False,
    )
    app.command()(serve)
    app.callback()(lambda: None)
    if find_spec("loomproof_sim.trace_cli") is not None:
        import_module("loomproof_sim.trace_cli").register(app)
    return app


def main() -> None:
    """Entry point of the `loomproof-sim` console script."""
    build_app()()
