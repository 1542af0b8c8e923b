"""The console in a browser: who may connect, that nothing is driven, and that every way out ends with the box off.

Two ways of looking: an aiohttp client that speaks the page's websocket, and headless Chromium on the page itself.
Waiting is by what happens, with patience for a busy machine; nothing is compared with a clock.
"""

import asyncio
import base64
import contextlib
import json
import os
import re
import shutil
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import aiohttp
import pytest
from test_as_a_person import JOB as SMALL_JOB
from test_real_terminal import ServedBox
from tmux import TooBusyError

from loomproof.box.look_only import LONGEST_SENSE_US, LOOKS, LookingBox, LookingOnlyError
from loomproof.cli.web import server as web_server
from loomproof.cli.web.server import WebServer
from loomproof.records.models import ResumedFact
from loomproof.records.store import RecordStore
from loomproof_wire import messages

ROOT = Path(__file__).parents[2]
JOB = ROOT / "examples" / "inline-five-turbo.toml"
PATIENCE_S = 60.0
DRIVES = {
    kind.KIND
    for kind in (
        messages.Arm,
        messages.DriveTrain,
        messages.DriveHold,
        messages.DrivePeakHold,
        messages.DriveStepper,
        messages.DriveBridge,
    )
}


def plain(drawn):
    """What was drawn, without its control sequences."""
    return re.sub(r"\x1b\[[0-9;?]*[a-zA-Z]", "", drawn)


async def until(true, patience_s=PATIENCE_S):
    end = time.monotonic() + patience_s
    while not true():
        assert time.monotonic() < end, "it did not come to that"
        await asyncio.sleep(0.02)


# --- who may connect ---------------------------------------------------------------------------------------

PARROT = """
import sys, time
sys.stdout.buffer.write(b"__GANGLION__\\n" + b"D" + (5).to_bytes(4, "big") + b"hello"); sys.stdout.flush()
if len(sys.argv) > 1:
    import signal
    signal.signal(signal.SIGTERM, signal.SIG_IGN)
    while True: time.sleep(1)
sys.stdin.buffer.read(1)
"""


@contextlib.asynccontextmanager
async def serving(token, *arguments):
    bound = asyncio.get_running_loop().create_future()
    over = asyncio.Event()
    command = [sys.executable, "-c", PARROT, *arguments]
    server = WebServer(command, "127.0.0.1", 0, token=token, listening=bound.set_result)
    task = asyncio.create_task(server.run(over))
    port = await asyncio.wait_for(bound, PATIENCE_S)
    try:
        yield f"127.0.0.1:{port}"
    finally:
        over.set()
        await asyncio.wait_for(task, PATIENCE_S)


async def status(url, **headers):
    async with aiohttp.ClientSession() as client, client.get(f"http://{url}", headers=headers) as answer:
        return answer.status


async def socket_status(url, **headers):
    async with aiohttp.ClientSession() as client:
        try:
            async with client.ws_connect(f"http://{url}", headers=headers) as page:
                return (await page.receive()).data
        except aiohttp.WSServerHandshakeError as refused:
            return refused.status


async def test_without_the_token_nothing_is_served():
    async with serving("right") as host:
        for path in (
            "/",
            "/ws",
            "/static/js/textual.js",
            "/download/x",
            "/?token=",
            "/?token=wrong",
            "/?token=rightt",
        ):
            assert await status(host + path) == 403, path
        assert await status(f"{host}/", Cookie="loomproof_token=wrong") == 403
        assert await socket_status(f"{host}/ws?token=wrong", Origin=f"http://{host}") == 403
        assert await socket_status(f"{host}/ws", Origin=f"http://{host}") == 403


async def test_with_the_token_the_page_the_scripts_and_the_console_come():
    async with (
        serving("right") as host,
        aiohttp.ClientSession(cookie_jar=aiohttp.CookieJar(unsafe=True)) as client,
    ):
        async with client.get(f"http://{host}/?token=right") as answer:
            page = await answer.text()
            assert answer.status == 200
            assert "HttpOnly" in answer.headers["Set-Cookie"]
            assert "SameSite=Strict" in answer.headers["Set-Cookie"]
        wanted = re.findall(r'(?:src|href)="([^"]+)"|url\("([^"]+)"\)', page)
        addresses = [one or other for one, other in wanted]
        assert len(addresses) == 3
        for address in addresses:
            assert address.startswith("/static/"), "nothing may come from elsewhere"
            async with client.get(f"http://{host}{address}") as answer:
                assert answer.status == 200
        address = re.search(r'data-session-websocket-url="([^"]+)"', page)[1].removeprefix("ws://")
        assert json.loads(re.search("const TOKEN = (.*);", page)[1]) == "right"
        assert await socket_status(f"{address}?width=80&token=right", Origin=f"http://{host}") == b"hello"


async def test_on_this_machine_no_token_is_needed_but_no_other_page_gets_in():
    async with serving(None) as host:
        port = host.rpartition(":")[2]
        assert await status(f"{host}/") == 200
        assert await status(f"{host}/", Host=f"localhost:{port}") == 200
        assert await status(f"{host}/", Host=f"elsewhere.example:{port}") == 403
        assert await socket_status(f"{host}/ws", Origin=f"http://{host}") == b"hello"
        assert await socket_status(f"{host}/ws", Origin="http://elsewhere.example") == 403
        assert await socket_status(f"{host}/ws", Origin="null") == 403
        assert await socket_status(f"{host}/ws") == 403


async def test_one_browser_at_a_time(monkeypatch):
    monkeypatch.setattr(web_server, "TAKE_OVER_S", 0.3)
    async with serving(None) as host, aiohttp.ClientSession() as client:
        async with client.ws_connect(f"http://{host}/ws", headers={"Origin": f"http://{host}"}) as first:
            assert (await first.receive()).data == b"hello"
            answer = await socket_status(f"{host}/ws", Origin=f"http://{host}")
            assert answer != b"hello"
        assert await socket_status(f"{host}/ws", Origin=f"http://{host}") == b"hello"


async def test_a_console_that_does_not_end_is_killed(monkeypatch):
    monkeypatch.setattr(web_server, "END_S", 0.2)
    ended = []

    class Watched(web_server.ConsoleProcess):
        async def stop(self):
            await super().stop()
            ended.append(self._process.returncode)

    monkeypatch.setattr(web_server, "ConsoleProcess", Watched)
    async with serving(None, "stubborn") as host:
        assert await socket_status(f"{host}/ws", Origin=f"http://{host}") == b"hello"
        await until(lambda: ended)
    assert ended == [-signal.SIGKILL]


def call(*arguments):
    command = [sys.executable, "-m", "loomproof.cli.app", "web", *arguments]
    return subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False)


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["nowhere.toml", "--box", "sim://"], "nowhere.toml"),
        ([str(JOB)], "Name the box as well"),
        (["--box", "sim://"], "Name the job"),
        ([str(JOB), "--box", "sim://", "--listen", "shop.example"], "give an IP address"),
        (
            [str(JOB), "--box", "sim://", "--records", "new.sqlite", "--resume", "none"],
            "cannot be carried on",
        ),
        ([str(JOB), "--box", "sim://", "--listen", "203.0.113.9"], "cannot be listened on"),
    ],
)
def test_a_wrong_call_is_told(arguments, told, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    done = call(*arguments)
    assert done.returncode == 2
    assert told in done.stderr


# --- nothing is driven -------------------------------------------------------------------------------------


class Remembering:
    def __init__(self):
        self.asked = []

    def __getattr__(self, name):
        return lambda *given, **named: self.asked.append(name)


def test_a_box_that_is_looked_at_lets_no_drive_through():
    inner = Remembering()
    box = LookingBox(inner)
    for name in (
        "arm",
        "drive",
        "watch_held",
        "invented",
    ):
        with pytest.raises(LookingOnlyError, match=name.replace("_", " ")):
            getattr(box, name)(1)
    for what in (box.sense, lambda *given: box.scan([given[0]], given[1])):
        with pytest.raises(LookingOnlyError):
            what(1, LONGEST_SENSE_US + 1, 10)
    assert inner.asked == []
    box.sense(1, LONGEST_SENSE_US, 10)
    box.watch(1, duration_ms=100)
    box.stop_now()
    assert inner.asked == ["sense", "watch", "stop_now"]
    assert not any("drive" in name or name == "arm" for name in LOOKS)


# --- the real program --------------------------------------------------------------------------------------


class Served:
    """`loomproof web` in a process of its own, before a simulated box in this one."""

    def __init__(self, folder, job=JOB, faults=(), listen=()):
        self.box = ServedBox(job, faults)
        environment = {**os.environ, "XDG_CONFIG_HOME": str(folder), "XDG_DATA_HOME": str(folder)}
        command = [sys.executable, "-m", "loomproof.cli.app", "web", str(job), "--box", self.box.url]
        self.records = folder / "records.sqlite"
        command += ["--port", "0", "--records", str(self.records), *listen]
        self.process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, env=environment)
        self.url = self.process.stdout.readline().strip()
        self.host = self.url.removeprefix("http://").strip("/")

    def close(self):
        for number in self.consoles():
            with contextlib.suppress(ProcessLookupError):
                os.kill(number, signal.SIGKILL)
        self.process.kill()
        self.process.wait()
        self.process.stdout.close()
        self.box.close()

    def consoles(self):
        """Process numbers of the consoles that this server started or left behind."""
        found = []
        for entry in Path("/proc").iterdir():
            with contextlib.suppress(OSError, ValueError):
                line = (entry / "cmdline").read_bytes().split(b"\0")
                if b"--in-browser" in line and self.box.url.encode() in line:
                    found.append(int(entry.name))
        return found


@pytest.fixture
def served(tmp_path):
    server = Served(tmp_path)
    yield server
    server.close()


class Tab:
    """The page's websocket, and everything the console has drawn."""

    def __init__(self, page):
        self.page = page
        self.seen = ""

    async def until(self, *wanted):
        end = time.monotonic() + PATIENCE_S
        while not all(text in plain(self.seen) for text in wanted):
            assert time.monotonic() < end, self.seen[-2000:]
            with contextlib.suppress(TimeoutError):
                message = await self.page.receive(timeout=1)
                assert message.type not in (aiohttp.WSMsgType.CLOSED, aiohttp.WSMsgType.CLOSE), (
                    "it was closed"
                )
                self.seen += message.data.decode("utf-8", "replace")

    async def press(self, keys):
        self.seen = ""
        await self.page.send_json(["stdin", keys])


@contextlib.asynccontextmanager
async def tab(served):
    async with aiohttp.ClientSession() as client:
        address = f"http://{served.host}/ws?width=100&height=30"
        async with client.ws_connect(address, headers={"Origin": f"http://{served.host}"}) as page:
            opened = Tab(page)
            await opened.until("reading only", "live")
            yield opened


async def test_it_refuses_to_drive_and_a_closed_tab_a_killed_console_and_an_ended_server_leave_the_box_off(
    served,
):
    async with tab(served) as page:
        await page.press("3")
        await page.until("Drive")
        await page.press("d")
        await page.until("Nothing is driven from a browser")
        stops = served.box.stops
        assert served.consoles()
    await until(lambda: served.box.stops > stops)
    await until(lambda: not served.consoles())
    assert not DRIVES & set(served.box.kinds)
    assert not served.box.any_on
    async with tab(served) as page:  # the same server serves the next one; this console dies without a word
        end = time.monotonic() + PATIENCE_S
        while (
            served.box.stop_reason is not messages.StopReason.NONE
        ):  # cleared, or the next stop would not show
            assert time.monotonic() < end, "the stop was not cleared"
            await page.press("\x12")
            await asyncio.sleep(0.5)
        for number in served.consoles():
            os.kill(number, signal.SIGKILL)
        await until(lambda: served.box.stop_reason is messages.StopReason.HEARTBEAT)
        assert not served.box.any_on
    await until(lambda: not served.consoles())
    async with tab(served):
        stops = served.box.stops
        served.process.terminate()
        await until(lambda: served.process.poll() is not None)
        assert served.process.returncode == 0
        await until(lambda: served.box.stops > stops and not served.consoles())
    with RecordStore(
        served.records, create=False
    ) as store:  # each page carried on what the one before had begun
        assert len(store.list()) == 1
        assert len(store.read("last").all(ResumedFact)) == 2


async def test_a_killed_server_stops_the_box_and_ends_the_console(served):
    async with tab(served):
        stops = served.box.stops
        served.process.kill()
        await until(lambda: served.box.stops > stops)
        await until(lambda: not served.consoles())


async def test_a_browser_that_falls_silent_counts_as_gone(served):
    """A tablet that is switched off closes nothing: only its silence tells."""
    raw = socket.create_connection((served.host.partition(":")[0], int(served.host.partition(":")[2])))
    with raw:
        key = base64.b64encode(os.urandom(16)).decode()
        asked = {
            "Host": served.host,
            "Origin": f"http://{served.host}",
            "Upgrade": "websocket",
            "Connection": "Upgrade",
            "Sec-WebSocket-Version": "13",
            "Sec-WebSocket-Key": key,
        }
        lines = [
            "GET /ws?width=80&height=24 HTTP/1.1",
            *(f"{name}: {value}" for name, value in asked.items()),
            "",
            "",
        ]
        raw.sendall("\r\n".join(lines).encode())
        await until(served.consoles)  # and from here on the pings find no answer, though nothing was closed
        await until(lambda: not served.consoles())
    await until(lambda: served.box.stops or served.box.stop_reason is not messages.StopReason.NONE)
    assert not served.box.any_on


# --- a real browser ----------------------------------------------------------------------------------------


class Chromium:
    """Headless Chromium over its debugging protocol, with no way out to any network but this machine's own."""

    def __init__(self, folder):
        program = (
            shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
        )
        assert program, "headless Chromium is needed: apt-get install chromium"
        rules = "MAP * ~NOTFOUND, EXCLUDE 127.0.0.1"
        self.process = subprocess.Popen(
            [program, "--headless=new", "--no-sandbox", "--disable-gpu", "--remote-debugging-port=0",
             f"--user-data-dir={folder}", f"--host-resolver-rules={rules}", "--window-size=1000,640", "about:blank"],
            stderr=subprocess.PIPE, text=True,
        )  # fmt: skip
        line = ""
        while "DevTools listening on" not in line:
            line = self.process.stderr.readline()
            assert line, "Chromium did not start"
        self.port = int(re.search(r":(\d+)/", line)[1])

    def close(self):
        self.process.kill()
        self.process.wait()
        self.process.stderr.close()


class Devtools:
    def __init__(self, page):
        self.page = page
        self.number = 0
        self.frames = b""
        self.asked = []

    async def do(self, method, **given):
        self.number += 1
        await self.page.send_json({"id": self.number, "method": method, "params": given})
        while True:
            told = await self.hear()
            if told.get("id") == self.number:
                return told.get("result", told)

    async def tell(self, expression):
        """What a JavaScript expression comes to in the page."""
        return (await self.do("Runtime.evaluate", expression=expression))["result"]["value"]

    async def key(self, text):
        await self.do("Input.dispatchKeyEvent", type="char", text=text)

    async def touch(self, selector):
        """Touch the middle of an element of the page."""
        where = (
            f"(r => [r.x + r.width / 2, r.y + r.height / 2].join())(document.querySelector('{selector}')"
            + (".getBoundingClientRect())")
        )
        x, y = map(float, (await self.tell(where)).split(","))
        await self.do("Input.dispatchTouchEvent", type="touchStart", touchPoints=[{"x": x, "y": y}])
        await self.do("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    def forget(self):
        """Forget what was drawn so far."""
        self.frames = b""

    async def until_drawn(self, *words, forget=True):
        """Wait until the console has drawn all of these, since the last time that something was forgotten."""
        while not all(word in (drawn := plain(self.frames.decode("utf-8", "replace"))) for word in words):
            if "fell silent" in drawn or "The box is stopped" in drawn:
                raise TooBusyError
            await self.hear()
        if forget:
            self.forget()

    async def picture(self, name, folder):
        """Take a picture; for the guide, once everything stands still, where the environment names a folder."""
        where = os.environ.get("LOOMPROOF_PICTURES")
        if where:
            await asyncio.sleep(2)
        taken = await self.do("Page.captureScreenshot", format="png")
        Path(where or folder, name).write_bytes(base64.b64decode(taken["data"]))

    async def hear(self):
        told = await self.page.receive_json(timeout=PATIENCE_S)
        if told.get("method") == "Network.webSocketFrameReceived":
            frame = told["params"]["response"]
            data = frame["payloadData"]
            self.frames += base64.b64decode(data) if frame["opcode"] == 2 else data.encode()
        if told.get("method") == "Network.requestWillBeSent":
            self.asked.append(told["params"]["request"]["url"])
        return told


@contextlib.asynccontextmanager
async def browsing(folder):
    """A page of a fresh headless Chromium, under its debugging protocol."""
    browser = Chromium(folder)
    try:
        async with aiohttp.ClientSession() as client:
            async with client.get(f"http://127.0.0.1:{browser.port}/json") as answer:
                pages = [page for page in await answer.json() if page["type"] == "page"]
            async with client.ws_connect(pages[0]["webSocketDebuggerUrl"], max_msg_size=0) as page:
                tools = Devtools(page)
                await tools.do("Network.enable")
                await tools.do("Page.enable")
                yield tools
    finally:
        browser.close()


async def test_chromium_opens_the_page_offline_and_navigating_away_stops_the_box(served, tmp_path):
    async with browsing(tmp_path / "profile") as tools:
        await tools.do("Page.navigate", url=served.url)
        await tools.until_drawn("reading only", "Run sheet", "STOP: touch or Ctrl+X")
        while "-first-byte" not in await tools.tell("document.body.className"):
            await asyncio.sleep(0.02)
        assert await tools.tell("document.fonts.check('16px \"Roboto Mono\"')") is True
        assert {url for url in tools.asked if not url.startswith((served.url, "data:", "blob:"))} == set()
        await tools.picture("browser.png", tmp_path)
        stops = served.box.stops
        await tools.do("Page.navigate", url="about:blank")
        await until(lambda: served.box.stops > stops)
        await until(lambda: not served.consoles())


TABLET = {"width": 800, "height": 1280, "deviceScaleFactor": 1, "mobile": True}


async def walk_to_the_end(served, tools, folder):
    """Two crossed wires, walked on a tablet: each connector is pulled twice, then the map and the moves stand there."""
    hands = served.box.box.hands
    await tools.do("Emulation.setDeviceMetricsOverride", **TABLET)
    await tools.do("Emulation.setTouchEmulationEnabled", enabled=True)
    await tools.do("Page.navigate", url=served.url)
    await tools.until_drawn("reading only", "Run sheet")
    await tools.key("7")
    await tools.until_drawn("NOT WALKED YET", "Walk, guided", "beside the tank")
    await tools.key("g")
    await tools.until_drawn("PULL", "Nothing")
    for channel, after in ((1, "1 of 2"), (2, "THE WALK HAS ENDED")):
        hands.pull(channel)
        await tools.until_drawn("NOT AS EXPECTED")
        hands.seat(channel)
        await tools.until_drawn("PULL IT ONCE MORE")
        hands.pull(channel)
        await tools.until_drawn("WRONG AT")
        tools.forget()
        hands.seat(channel)
        await tools.until_drawn(after, forget=False)
    expected = (
        "channel 1 expected, channel 2 found",
        "channel 2 expected, channel 1 found",
        "Take the terminal",
        "H1-1",
    )
    await tools.until_drawn("2 of 2", *expected, forget=False)
    await tools.picture("browser-walk.png", folder)
    assert not DRIVES & set(served.box.kinds)
    with RecordStore(served.records, create=False) as store:
        steps = {step.step_id: step for step in store.read("last").steps}
    for one, other in ((1, 2), (2, 1)):
        pull = steps[f"pull-{one}"].ended.outcome["pull"]
        assert (pull["outcome"], pull["moved_channels"]) == ("other", [other])
    stops = served.box.stops
    await tools.touch("#stop")
    await until(lambda: served.box.stops > stops)
    for number in served.consoles():
        os.kill(number, signal.SIGKILL)
    while "The console has ended" not in await tools.tell("document.getElementById('said').textContent"):
        await asyncio.sleep(0.02)


async def test_a_walk_in_chromium_on_a_tablet_with_a_token_to_its_end(tmp_path):
    for attempt in range(3):
        folder = tmp_path / str(attempt)
        folder.mkdir()
        (folder / "small.toml").write_text(SMALL_JOB)
        served = Served(folder, folder / "small.toml", ("swapped:1:2",), ("--listen", "0.0.0.0"))
        served.url = re.sub("//.*:", "//127.0.0.1:", served.url)
        try:
            async with browsing(folder / "profile") as tools:
                return await walk_to_the_end(served, tools, folder)
        except TooBusyError:
            continue
        finally:
            served.close()
    pytest.fail("the machine was too busy for the box's heartbeat, three times")
