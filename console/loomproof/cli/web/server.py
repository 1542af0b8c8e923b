"""The web server behind `loomproof web`: one console at a time, for anyone who has the token.

Based on textual-serve, which runs the console as a process and passes its screen through a websocket. Added are:
who may connect, one console at a time, a page without anything from elsewhere, and an end to the process that
does not depend on its goodwill.
"""

from __future__ import annotations

import asyncio
import hmac
import shlex
from asyncio.subprocess import PIPE, Process
from collections.abc import Awaitable, Callable, Sequence
from contextlib import suppress
from functools import partial
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import aiohttp_jinja2
from aiohttp import web
from textual_serve.app_service import AppService
from textual_serve.server import Server, to_int

PAGES = Path(__file__).parent / "pages"
COOKIE = "loomproof_token"
LOOPBACK_NAMES = ("localhost", "127.0.0.1", "::1")
SILENT_S = 2.0
"""A browser that does not answer a ping this often, and half as long again, counts as gone."""
END_S = 3.0
"""How long the console may take to end before it is killed; the box's heartbeat watch then stops the box."""
TAKE_OVER_S = 6.0
"""How long a new page waits for the console of the one before it to end."""
SMALLEST_PX, LARGEST_PX = 8, 48
"""Of the letters, where the address asks for a size."""
Handler = Callable[[web.Request], Awaitable[web.StreamResponse]]


class Closed:
    """Why the server closes a page's connection; the page has words for each."""

    ENDED = b"ended"
    TAKEN = b"taken"
    SERVER = b"server"
    UNCLEAR = b"unclear"


def _guarded(response: web.StreamResponse) -> web.StreamResponse:
    """Add what keeps other pages and every cache out."""
    response.headers["X-Frame-Options"] = "DENY"
    response.headers["Referrer-Policy"] = "no-referrer"
    response.headers["Cache-Control"] = "no-store"
    return response


class ConsoleProcess(AppService):
    """The console as a process of its own. Started without a shell; ended even if it hangs."""

    def __init__(self, arguments: Sequence[str], **given: Any) -> None:  # noqa: ANN401
        super().__init__(shlex.join(arguments), **given)
        self._arguments = tuple(arguments)

    async def _open_app_process(self, width: int = 80, height: int = 24) -> Process:
        self._process = process = await asyncio.create_subprocess_exec(
            *self._arguments,
            stdin=PIPE,
            stdout=PIPE,
            stderr=PIPE,
            env=self._build_environment(width=width, height=height),
        )
        assert process.stdin is not None
        self._stdin = process.stdin
        return process

    async def run(self) -> None:
        """Pass its screen on until it has ended, then close the page's connection."""
        await super().run()
        await self.remote_close()

    async def stop(self) -> None:
        """Ask it to end; then close its input, end it, kill it."""
        process = self._process
        if process is None:
            return
        with suppress(TimeoutError, Exception):
            await asyncio.wait_for(AppService.stop(self), END_S)
        if process.stdin is not None:
            process.stdin.close()
        for end in (None, process.terminate, process.kill):
            if process.returncode is not None:
                return
            if end is not None:
                with suppress(ProcessLookupError):
                    end()
            with suppress(TimeoutError):
                await asyncio.wait_for(process.wait(), END_S)


class WebServer(Server):
    """Serves one console to one browser.

    Args:
        arguments: the console's command.
        host: address to listen on.
        port: port to listen on; 0: any that is free.
        token: what the address must carry; None: only who is on this machine can connect.
        listening: is called with the port once it listens.
    """

    def __init__(
        self,
        arguments: Sequence[str],
        host: str,
        port: int,
        *,
        token: str | None,
        listening: Callable[[int], None],
    ) -> None:
        super().__init__(shlex.join(arguments), host=host, port=port, title="Loomproof", templates_path=PAGES)
        self._arguments = tuple(arguments)
        self._token = token
        self._listening = listening
        self._one = asyncio.Lock()
        self._open: set[web.WebSocketResponse] = set()

    # --- who is allowed ---------------------------------------------------------------------------------------

    def _allowed(self, request: web.Request) -> bool:
        """Return whether a request is answered.

        The token is compared in constant time. Without one the server listens on this machine only, and the host
        named must be this machine: a page from elsewhere that points its own name here gets nothing.
        """
        if self._token is None:
            return (urlsplit(f"//{request.host}").hostname or "") in LOOPBACK_NAMES
        given = request.query.get("token") or request.cookies.get(COOKIE, "")
        return hmac.compare_digest(given.strip().lower().encode(), self._token.lower().encode())

    def _refusal(self, request: web.Request) -> web.StreamResponse:
        """Return the answer to a request without a valid token: a page that asks for it, a line for everything else."""
        if request.path != "/" or self._token is None:
            raise web.HTTPForbidden(text="This address needs the token that `loomproof web` printed.\n")
        wrong = "token" in request.query
        return aiohttp_jinja2.render_template("token.html", request, {"wrong": wrong}, status=403)

    @staticmethod
    def _from_here(request: web.Request) -> bool:
        """Return whether a websocket was opened by a page of this server, as browsers say in `Origin`."""
        origin = request.headers.get("Origin")
        return origin is not None and urlsplit(origin).netloc == request.host

    def guard(self) -> Any:  # noqa: ANN401 - aiohttp's middleware type is private
        """Return the middleware that rejects requests without a valid token."""

        @web.middleware
        async def refuse(request: web.Request, handler: Handler) -> web.StreamResponse:
            if not self._allowed(request):
                return _guarded(self._refusal(request))
            if request.path == "/ws" and not self._from_here(request):
                raise web.HTTPForbidden(text="The console is opened by its own page only.\n")
            response = await handler(request)
            if not response.prepared:
                _guarded(response)
                if self._token is not None and request.path == "/":
                    response.set_cookie(COOKIE, self._token, httponly=True, samesite="Strict")
            return response

        return refuse

    # --- what is served --------------------------------------------------------------------------------

    async def _make_app(self) -> web.Application:
        app = await super()._make_app()
        app.middlewares.append(self.guard())
        return app

    @aiohttp_jinja2.template("app_index.html")
    async def handle_index(self, request: web.Request) -> dict[str, Any]:
        """Serve the page; every address in it is this server's own."""
        scheme = "wss" if request.scheme == "https" else "ws"
        wanted = to_int(request.query.get("fontsize", ""), 0)
        return {
            "font_size": max(SMALLEST_PX, min(wanted, LARGEST_PX)) if wanted else None,
            "app_websocket_url": f"{scheme}://{request.host}/ws",
            "token": self._token or "",
            "config": {"static": {"url": "/static/"}},
            "application": {"name": self.title},
        }

    async def handle_websocket(self, request: web.Request) -> web.WebSocketResponse:
        """Run a console for as long as the page is there."""
        websocket = web.WebSocketResponse(heartbeat=SILENT_S)
        await websocket.prepare(request)
        try:
            await asyncio.wait_for(self._one.acquire(), TAKE_OVER_S)
        except TimeoutError:
            await websocket.close(message=Closed.TAKEN)
            return websocket
        self._open.add(websocket)
        console = ConsoleProcess(
            self._arguments,
            write_bytes=websocket.send_bytes,
            write_str=websocket.send_str,
            close=partial(websocket.close, message=Closed.ENDED),
            download_manager=self.download_manager,
        )
        width, height = (
            to_int(request.query.get(key, ""), size) for key, size in (("width", 80), ("height", 24))
        )
        try:
            await console.start(max(20, min(width, 500)), max(8, min(height, 300)))
            await self._process_messages(websocket, console)
        except (AssertionError, KeyError, IndexError, TypeError, ValueError):
            await websocket.close(message=Closed.UNCLEAR)
        finally:
            await asyncio.shield(self._end(console, websocket))
        return websocket

    async def _end(self, console: ConsoleProcess, websocket: web.WebSocketResponse) -> None:
        try:
            await console.stop()
        finally:
            self._open.discard(websocket)
            self._one.release()

    async def on_startup(self, app: web.Application) -> None:
        """Say nothing here: the command says where it listens once it does."""

    async def on_shutdown(self, app: web.Application) -> None:
        """Close every page's connection; each console then stops its box and ends."""
        for websocket in tuple(self._open):
            with suppress(Exception):
                await websocket.close(message=Closed.SERVER)
        with suppress(TimeoutError):
            await asyncio.wait_for(self._one.acquire(), 4 * END_S)

    # --- running ---------------------------------------------------------------------------------------

    async def run(self, until: asyncio.Event) -> None:
        """Serve until it is ended.

        Raises:
            OSError: The address cannot be listened on.
        """
        runner = web.AppRunner(await self._make_app(), access_log=None, shutdown_timeout=END_S)
        await runner.setup()
        try:
            site = web.TCPSite(runner, self.host, self.port)
            await site.start()
            self._listening(runner.addresses[0][1])
            await until.wait()
        finally:
            await runner.cleanup()
