"""Two browsers as somebody uses them on a telephone: opened on a file, touched, typed into, and killed.

Both run as processes of their own with a profile that outlives them, so that a kill is one. Chromium is led by
Playwright over its debugging port, Firefox by its own remote protocol, for which no driver has to be installed
(Marionette, as firefox-source-docs.mozilla.org describes it under testing/marionette/Protocol.html).
"""

from __future__ import annotations

import json
import os
import shutil
import signal
import socket
import subprocess
import time
from pathlib import Path
from typing import Any, Protocol

import pytest

from tests.browser.test_page import faults

WIDTH, HEIGHT = 360, 740
ELEMENT = "element-6066-11e4-a52e-4f735466cecf"  # the key of an element, W3C WebDriver 12.1
PATIENCE = 60.0


class Telephone(Protocol):
    """A browser with one page."""

    def start(self) -> None: ...
    def open(self, page: Path) -> None: ...
    def touch(self, css: str, number: int = 0) -> None: ...
    def write(self, css: str, text: str) -> None: ...
    def run(self, script: str) -> Any: ...
    def faults(self) -> list[list[str]]: ...
    def kill(self) -> None: ...


def wait_for(what: str, telephone: Telephone) -> None:
    """Waits until an expression of the page is true."""
    until = time.monotonic() + PATIENCE
    while not telephone.run(f"return Boolean({what})"):
        assert time.monotonic() < until, what
        time.sleep(0.02)


def _port() -> int:
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def _kill(process: subprocess.Popen[bytes]) -> None:
    os.killpg(process.pid, signal.SIGKILL)
    process.wait()


class Chromium:
    def __init__(self, profile: Path, downloads: Path) -> None:
        self.program = next(filter(None, map(shutil.which, ("chromium", "chromium-browser", "google-chrome"))), None)
        if self.program is None:
            pytest.skip("no Chromium on this machine")
        self.profile, self.downloads = profile, downloads

    def start(self) -> None:
        from playwright.sync_api import sync_playwright

        port = _port()
        how = [f"--remote-debugging-port={port}", f"--user-data-dir={self.profile}", "--headless=new", "--no-sandbox"]
        how += ["--disable-gpu", "--no-first-run", "--force-device-scale-factor=1", "about:blank"]
        self.process = subprocess.Popen(
            [str(self.program), *how], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        until = time.monotonic() + PATIENCE
        while True:
            try:
                socket.create_connection(("127.0.0.1", port), timeout=1).close()
                break
            except OSError:
                assert time.monotonic() < until, "Chromium does not start"
                time.sleep(0.05)
        self.playwright = sync_playwright().start()
        self.browser = self.playwright.chromium.connect_over_cdp(f"http://127.0.0.1:{port}")
        context = self.browser.contexts[0]
        self.page = context.new_page()
        session = context.new_cdp_session(self.page)
        session.send("Browser.setDownloadBehavior", {"behavior": "allow", "downloadPath": str(self.downloads)})
        session.send("Network.enable")
        offline = {"offline": True, "latency": 0, "downloadThroughput": -1, "uploadThroughput": -1}
        session.send("Network.emulateNetworkConditions", offline)
        self.page.set_viewport_size({"width": WIDTH, "height": HEIGHT})

    def open(self, page: Path) -> None:
        self.page.goto(page.resolve().as_uri())
        self.page.wait_for_selector("html.ready")

    def touch(self, css: str, number: int = 0) -> None:
        self.page.locator(css).nth(number).click()

    def write(self, css: str, text: str) -> None:
        self.page.locator(css).press_sequentially(text)

    def run(self, script: str) -> Any:
        return self.page.evaluate(f"(() => {{ {script} }})()")

    def faults(self) -> list[list[str]]:
        return faults(self.page)

    def kill(self) -> None:
        _kill(self.process)
        self.playwright.stop()


class Firefox:
    def __init__(self, profile: Path, downloads: Path) -> None:
        self.program = next(filter(None, map(shutil.which, ("firefox-esr", "firefox"))), None)
        if self.program is None:
            pytest.skip("no Firefox on this machine")
        self.profile, self.downloads = profile, downloads

    def start(self) -> None:
        port = _port()
        wishes: dict[str, object] = {
            "marionette.port": port,
            "browser.download.folderList": 2,
            "browser.download.dir": str(self.downloads),
            "browser.shell.checkDefaultBrowser": False,
            "datareporting.policy.dataSubmissionEnabled": False,
            "geo.enabled": False,
        }
        self.profile.mkdir(parents=True, exist_ok=True)
        lines = [f"user_pref({json.dumps(name)}, {json.dumps(value)});" for name, value in wishes.items()]
        (self.profile / "user.js").write_text("\n".join(lines), encoding="utf-8")
        how = [
            "--headless",
            "--marionette",
            "--remote-allow-system-access",
            "--no-remote",
            "--profile",
            str(self.profile),
        ]
        how += ["--width", str(WIDTH), "--height", str(HEIGHT)]
        self.process = subprocess.Popen(
            [str(self.program), *how], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, start_new_session=True
        )
        until = time.monotonic() + PATIENCE
        while True:
            try:
                self.line = socket.create_connection(("127.0.0.1", port), timeout=PATIENCE)
                self.rest = b""
                self._read()
                break
            except OSError:
                assert time.monotonic() < until, "Firefox does not start"
                time.sleep(0.1)
        self.number = 0
        self._send("WebDriver:NewSession", {"strictFileInteractability": False})
        self._send("WebDriver:SetWindowRect", {"width": WIDTH, "height": HEIGHT + 86})  # with its own bars
        self._send("Marionette:SetContext", {"value": "chrome"})
        self.run("Services.io.manageOfflineStatus = false; Services.io.offline = true;")
        # no window of Firefox is as narrow as a telephone, but the page in it may be
        self.run(f"window.gBrowser.selectedBrowser.style.maxWidth = '{WIDTH}px';")
        self._send("Marionette:SetContext", {"value": "content"})

    def _read(self) -> Any:
        """One message: its length, a colon, JSON."""
        while b":" not in self.rest:
            self._more()
        size, self.rest = self.rest.split(b":", 1)
        while len(self.rest) < int(size):
            self._more()
        message, self.rest = self.rest[: int(size)], self.rest[int(size) :]
        return json.loads(message)

    def _more(self) -> None:
        got = self.line.recv(1 << 16)
        if not got:
            raise OSError("closed")
        self.rest += got

    def _send(self, command: str, values: dict[str, Any]) -> Any:
        self.number += 1
        message = json.dumps([0, self.number, command, values]).encode()
        self.line.sendall(str(len(message)).encode() + b":" + message)
        _, _, fault, result = self._read()
        assert fault is None, (command, values, fault)
        return result.get("value", result) if isinstance(result, dict) else result

    def open(self, page: Path) -> None:
        self._send("WebDriver:Navigate", {"url": page.resolve().as_uri()})
        wait_for("document.documentElement.classList.contains('ready')", self)

    def _find(self, css: str, number: int = 0) -> str:
        found = self._send("WebDriver:FindElements", {"using": "css selector", "value": css})
        return str(found[number][ELEMENT])

    def touch(self, css: str, number: int = 0) -> None:
        found = self._find(css, number)
        into_view = {"script": "arguments[0].scrollIntoView({block: 'center'})", "args": [{ELEMENT: found}]}
        self._send("WebDriver:ExecuteScript", into_view)  # a finger does not touch what lies under the bar
        self._send("WebDriver:ElementClick", {"id": found})

    def write(self, css: str, text: str) -> None:
        self._send("WebDriver:ElementSendKeys", {"id": self._find(css), "text": text})

    def run(self, script: str) -> Any:
        return self._send("WebDriver:ExecuteScript", {"script": script, "args": []})

    def faults(self) -> list[list[str]]:
        """What axe finds by its default rules, as `faults` of the page's tests."""
        from axe_playwright_python.base import AXE_SCRIPT

        run = (
            f"{AXE_SCRIPT}; const done = arguments[arguments.length - 1]; axe.run({{resultTypes: ['violations']}})"
            ".then(all => done(all.violations.map(v => [v.id, v.nodes[0].html.slice(0, 200)])))"
        )
        found = self._send("WebDriver:ExecuteAsyncScript", {"script": run, "args": []})
        assert isinstance(found, list)
        return found

    def kill(self) -> None:
        _kill(self.process)
        self.line.close()
