"""A browser driven through its debugging port with the standard library alone: enough to fill in a page as a phone."""

from __future__ import annotations

import base64
import json
import os
import shutil
import socket
import struct
import subprocess
import time
import urllib.request
from pathlib import Path
from typing import Any

NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
PHONE = {"width": 390, "height": 844, "deviceScaleFactor": 2, "mobile": True}
PATIENCE = 60  # seconds that the browser may take to start or to answer: our choice, for busy machines


def find_browser() -> str | None:
    """The path of a Chromium-like browser, or None."""
    return next((path for name in NAMES if (path := shutil.which(name))), None)


class Browser:
    """One page in a headless browser of phone size, without a network; use it in a `with` block.

    asked : addresses that the page asked for, other than its own file
    """

    def __init__(self, program: str, folder: Path) -> None:
        self.asked: list[str] = []
        self.faults: list[str] = []
        self.dialogs: list[str] = []
        self._clock: str | None = None
        self._profile = folder / "profile"
        self.downloads = folder / "downloads"
        self.downloads.mkdir()
        self._number = 0
        self._process = subprocess.Popen(
            [
                program, "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
                "--disable-background-networking", "--disable-component-update", "--disable-sync",
                "--disable-dev-shm-usage", "--remote-debugging-port=0", f"--user-data-dir={self._profile}",
                # One process for all pages: of several each has its own copy of what was kept, and one may be old.
                "--renderer-process-limit=1", "--disable-features=BackForwardCache",
                "about:blank",
            ],
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )  # fmt: skip

    def __enter__(self) -> Browser:
        port = self._port()
        listed = json.loads(urllib.request.urlopen(f"http://127.0.0.1:{port}/json/list", timeout=PATIENCE).read())
        address = next(one["webSocketDebuggerUrl"] for one in listed if one["type"] == "page")
        self._socket = _upgraded(port, address.split(f":{port}", 1)[1])
        self._left = b""
        for domain in ("Page", "Network", "Runtime"):
            self.call(f"{domain}.enable")
        self.call("Emulation.setDeviceMetricsOverride", **PHONE)
        self.call("Emulation.setTouchEmulationEnabled", enabled=True)
        self.call("Browser.setDownloadBehavior", behavior="allow", downloadPath=str(self.downloads))
        self.call("Network.emulateNetworkConditions", offline=True, latency=0, downloadThroughput=0, uploadThroughput=0)
        return self

    def __exit__(self, *error: object) -> None:
        try:
            self.call("Browser.close")
            self._process.wait(10)
        except (OSError, RuntimeError, subprocess.TimeoutExpired):
            self._process.kill()
            self._process.wait()
        self._socket.close()

    def _port(self) -> int:
        told = self._profile / "DevToolsActivePort"
        end = time.monotonic() + PATIENCE
        while time.monotonic() < end:
            if told.exists() and len(lines := told.read_text(encoding="utf-8").splitlines()) > 1:
                return int(lines[0])
            time.sleep(0.05)
        self._process.kill()
        raise RuntimeError(f"The browser did not start within {PATIENCE} s.")

    # --- what a test does -------------------------------------------------------------------------------------------

    def open(self, page: Path) -> None:
        """Loads a file, also again."""
        self.js("window.left = true")  # a page that is loaded again is complete until it goes
        self.call("Page.navigate", url=page.resolve().as_uri())
        self.wait("!window.left && document.readyState === 'complete' && location.protocol === 'file:'")

    def set_clock(self, moment: str) -> None:
        """From now on the page's clock runs from that moment (local time, such as 2026-06-30T09:00), also when it is
        loaded again; a page that is open is told by its next look at the clock."""
        shift = (
            "(() => { const Real = window.RealDate ?? Date; window.RealDate = Real;"
            f"const off = new Real({json.dumps(moment)}).getTime() - Real.now();"
            "window.Date = class extends Real {"
            "constructor(...of) { if (of.length) super(...of); else super(Real.now() + off); }"
            "static now() { return Real.now() + off; } }; })()"
        )
        if self._clock is not None:
            self.call("Page.removeScriptToEvaluateOnNewDocument", identifier=self._clock)
        self._clock = self.call("Page.addScriptToEvaluateOnNewDocument", source=shift)["identifier"]
        self.js(shift)

    def js(self, words: str) -> Any:
        """The value of an expression in the page. Raises RuntimeError with the page's own message."""
        answer = self.call("Runtime.evaluate", expression=words, returnByValue=True, awaitPromise=True)
        if "exceptionDetails" in answer:
            raise RuntimeError(str(answer["exceptionDetails"].get("exception", answer["exceptionDetails"])))
        return answer["result"].get("value")

    def wait(self, words: str) -> None:
        """Waits until an expression is true."""
        end = time.monotonic() + PATIENCE
        while not self.js(words):
            if time.monotonic() > end:
                raise RuntimeError(f"never true: {words}")
            time.sleep(0.02)

    def tap(self, selector: str) -> None:
        """Touches the middle of an element, which must be there to be seen, until the page has noticed it.

        On a busy machine a touch may last so long that the browser takes it for a long one, of which no click comes.
        """
        self.js(
            "window.tapped = false;"
            "addEventListener('click', () => { window.tapped = true; }, {capture: true, once: true})"
        )
        for _ in range(3):
            self._touch(selector)
            end = time.monotonic() + 3
            while time.monotonic() < end:
                if self.js("window.tapped"):
                    return
                time.sleep(0.01)
        raise RuntimeError(f"{selector} takes no tap")

    def _touch(self, selector: str) -> None:
        spot = self.js(
            f"(() => {{ const e = document.querySelector({json.dumps(selector)});"
            "e.scrollIntoView({block: 'center'}); const r = e.getBoundingClientRect();"
            "return r.width * r.height ? [r.x + r.width / 2, r.y + r.height / 2] : null; })()"
        )
        if spot is None:
            raise RuntimeError(f"{selector} cannot be seen")
        point = {"x": spot[0], "y": spot[1]}
        self.call("Input.dispatchTouchEvent", type="touchStart", touchPoints=[point])
        self.call("Input.dispatchTouchEvent", type="touchEnd", touchPoints=[])

    def write(self, selector: str, text: str) -> None:
        """Touches a field, replaces what stands in it by typing, and goes on to the next with the tab key."""
        self.tap(selector)
        self.js(f"(() => {{ const e = document.querySelector({json.dumps(selector)}); e.focus(); e.select?.(); }})()")
        self.call("Input.insertText", text=text)
        self.key("Tab", 9)

    def key(self, name: str, code: int, text: str = "") -> None:
        """Presses and lets go of a key."""
        typed = {"text": text} if text else {}
        self.call("Input.dispatchKeyEvent", type="keyDown", key=name, code=name, windowsVirtualKeyCode=code, **typed)
        self.call("Input.dispatchKeyEvent", type="keyUp", key=name, code=name, windowsVirtualKeyCode=code)

    # --- the debugging protocol -------------------------------------------------------------------------------------

    def call(self, method: str, **params: Any) -> dict[str, Any]:
        """The answer to one command of the Chrome DevTools protocol. Raises RuntimeError when it was refused."""
        self._number += 1
        self._send(json.dumps({"id": self._number, "method": method, "params": params}).encode())
        while True:
            told = json.loads(self._receive())
            if told.get("id") == self._number:
                if "error" in told:
                    raise RuntimeError(f"{method}: {told['error']}")
                return dict(told["result"])
            self._note(told)

    def _note(self, told: dict[str, Any]) -> None:
        if told.get("method") == "Network.requestWillBeSent":
            address = told["params"]["request"]["url"]
            if not address.startswith(("file:", "about:", "blob:", "data:")):  # nothing that leaves the machine
                self.asked.append(address)
        if told.get("method") == "Page.javascriptDialogOpening":
            self.dialogs.append(told["params"]["type"])
        if told.get("method") == "Runtime.exceptionThrown":
            self.faults.append(json.dumps(told["params"]))

    def _send(self, content: bytes) -> None:
        mask = os.urandom(4)
        length = len(content)
        head = b"\x81" + (
            bytes([0x80 | length])
            if length < 126
            else bytes([0xFE]) + struct.pack("!H", length)
            if length < 65536
            else bytes([0xFF]) + struct.pack("!Q", length)
        )
        self._socket.sendall(head + mask + bytes(byte ^ mask[i % 4] for i, byte in enumerate(content)))

    def _receive(self) -> bytes:
        """One message; frames that continue it are joined (RFC 6455, section 5)."""
        message = b""
        while True:
            first, second = self._exactly(2)
            length = second & 0x7F
            if length == 126:
                (length,) = struct.unpack("!H", self._exactly(2))
            elif length == 127:
                (length,) = struct.unpack("!Q", self._exactly(8))
            part = self._exactly(length)
            if first & 0x0F in (0x0, 0x1):
                message += part
                if first & 0x80:
                    return message
            elif first & 0x0F == 0x8:
                raise RuntimeError("the browser hung up")

    def _exactly(self, length: int) -> bytes:
        while len(self._left) < length:
            more = self._socket.recv(65536)
            if not more:
                raise RuntimeError("the browser hung up")
            self._left += more
        found, self._left = self._left[:length], self._left[length:]
        return found


def _upgraded(port: int, path: str) -> socket.socket:
    """A connection on which messages can be exchanged (RFC 6455, section 4)."""
    connection = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE)
    key = base64.b64encode(os.urandom(16)).decode()
    connection.sendall(
        f"GET {path} HTTP/1.1\r\nHost: 127.0.0.1:{port}\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"
        f"Sec-WebSocket-Key: {key}\r\nSec-WebSocket-Version: 13\r\n\r\n".encode()
    )
    answer = b""
    while b"\r\n\r\n" not in answer:
        more = connection.recv(1)
        if not more:
            break
        answer += more
    if b" 101 " not in answer.split(b"\r\n", 1)[0]:
        raise RuntimeError(f"the browser refused: {answer[:200]!r}")
    return connection
