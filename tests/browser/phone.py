"""A device with a browser, and the shop it talks to."""

from __future__ import annotations

import os
import re
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from contextlib import suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

FLAGS = [
    "--no-sandbox",
    "--headless",
    "--disable-gpu",
    "--disable-quic",
    "--no-first-run",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
]
_COMMAND = [sys.executable, "-c", "from loopwright.cli.main import run; run()", "serve"]
JUDGED_WITHIN_S = 120  # on a machine that others load; what a quiet one takes is measured by the bench


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


class Served:
    """`loopwright serve` in a process of its own; it can be killed and started again at the same address."""

    def __init__(self, database: Path | str, host: str = "127.0.0.1", arguments: tuple[str, ...] = ()) -> None:
        self.database, self.port = database, free_port()
        self.address = f"http://127.0.0.1:{self.port}"
        self._leaves = str(Path(database).parent)
        self._arguments = ["--database", str(database), "--host", host, "--port", str(self.port), *arguments]
        self.first_page_s = self.start()

    def start(self) -> float:
        """Start; return after how many seconds the first page came."""
        began = time.monotonic()
        environment = {**os.environ, "TMPDIR": self._leaves}  # killed, it cannot take away what it made
        self.process = subprocess.Popen([*_COMMAND, *self._arguments], stdout=subprocess.DEVNULL, env=environment)
        while time.monotonic() < began + 60:
            try:
                with urllib.request.urlopen(self.address, timeout=30) as answer:
                    answer.read()
                return time.monotonic() - began
            except urllib.error.HTTPError:
                return time.monotonic() - began
            except OSError:
                if self.process.poll() is not None:
                    break
                time.sleep(0.05)
        raise AssertionError("The server did not start.")

    def kill(self) -> None:
        """End it as a power cut would."""
        self.process.kill()
        self.process.wait()


class Phone:
    """One device; `acts` counts what its user did: taps, and fields typed into (a field's keys count as one)."""

    def __init__(self, chromium: Any, address: str, width: int, height: int, scheme: str, **options: Any) -> None:
        self.address = address
        self.context = chromium.new_context(
            viewport={"width": width, "height": height},
            color_scheme=scheme,
            has_touch=width < 800,
            base_url=address,
            locale=options.pop("locale", "en-US"),
            reduced_motion="reduce",
            **options,
        )
        self.context.set_default_timeout(20_000)
        self.width = width
        self.acts = 0
        self.foreign: list[str] = []
        self.said: list[str] = []
        self.cut_off = False
        self.missing_is_expected = False
        self.context.on("request", self._watch)
        self.context.on("console", self._hear)
        self.context.on("weberror", lambda error: self.said.append(f"error: {error.error}"))
        self.page = self.context.new_page()

    def _watch(self, request: Any) -> None:
        parts = urlsplit(request.url)
        if parts.scheme not in ("data", "blob") and f"{parts.scheme}://{parts.netloc}" != self.address:
            self.foreign.append(request.url)

    def _hear(self, message: Any) -> None:
        expected = self.cut_off and "net::ERR" in message.text  # a browser logs each request that finds no network
        expected = expected or (self.missing_is_expected and "the server responded with a status of 4" in message.text)
        expected = expected or "registration blocked by Playwright" in message.text  # a device without the worker
        if message.type in ("error", "warning") and not expected:
            self.said.append(f"{message.type}: {message.text} {message.location.get('url', '')}")

    def was_clean(self) -> None:
        assert not self.foreign, "\n".join(self.foreign)
        assert not self.said, "\n".join(self.said)

    # --- a job

    def new_job(self) -> str:
        """Open a job with one tap on the list of jobs; return its address."""
        self.page.goto("/")
        self.tap(self.page.get_by_role("button", name=re.compile("New job")).first)
        self.page.wait_for_url(re.compile(r"/jobs/[0-9a-f-]{36}"))
        return urlsplit(self.page.url).path

    def tap(self, found: Any) -> None:
        found.click()
        self.acts += 1

    def choose(self, field: str, value: str) -> None:
        """Tap one of the choices of a field."""
        self.tap(self.page.locator(f'label:has(input[data-field="{field}"][value="{value}"])'))

    def do(self, act: str) -> None:
        self.tap(self.page.locator(f'label.tick:has([data-act="{act}"])'))

    def type(self, field: str, text: str) -> None:
        """Type into a field that is in sight, tapping it first unless it has the focus."""
        control = self.page.locator(f'[id="f-{field}"]')
        if not control.evaluate("node => node === document.activeElement"):
            self.tap(control)
        control.press_sequentially(text)
        self.acts += 1

    def enter(self) -> None:
        """The keypad's key that goes on to the next field."""
        self.page.keyboard.press("Enter")
        self.acts += 1

    def onward(self, stage: str) -> None:
        self.tap(self.page.locator(f'button[data-onward="stage-{stage}"]'))

    def open_stage(self, stage: str) -> None:
        details = self.page.locator(f"#stage-{stage}")
        if details.get_attribute("open") is None:
            self.tap(details.locator("> summary"))

    def value(self, field: str) -> str:
        return str(self.page.locator(f'[id="f-{field}"]').input_value())

    # --- what the page says

    def until(self, script: str, seconds: float = 20) -> Any:
        """Wait until a script gives something true; return it. (The pages' policy forbids the browser's own way.)"""
        end = time.monotonic() + seconds
        while True:
            found = self.page.evaluate(script)
            if found:
                return found
            assert time.monotonic() < end, f"Not within {seconds} s: {script}"
            time.sleep(0.03)

    def wait_saved(self) -> None:
        """Wait until nothing waits on the device any more."""
        self.until("Object.keys(localStorage).every(key => !key.startsWith('lw.out.') && !key.startsWith('lw.draft.'))")

    def waiting(self) -> list[str]:
        found: list[str] = self.page.evaluate("Object.keys(localStorage).filter(key => key.startsWith('lw.out.'))")
        return found

    def wait_verdict(self) -> str:
        """Wait until a verdict stands that was made from everything written."""
        self.wait_saved()
        self.until(
            "document.querySelector('#verdict:not(.verdict-none)') && !document.querySelector('#verdict .stale')",
            JUDGED_WITHIN_S,
        )
        return str(self.page.locator("#verdict .verdict-words").inner_text())

    def wait_saved_but_notes(self) -> None:
        """Wait until everything but an unfinished note is with the shop."""
        self.until(
            "Object.keys(localStorage).every(key => !key.startsWith('lw.out.') && !/^lw.draft.*[^e]$/.test(key))"
        )

    def kill_page(self) -> None:
        """Let the page's process die, as a phone's empty battery would, and take up a new one."""
        dying = self.page
        with suppress(Exception):  # whoever kills a page gets no answer from it
            dying.goto("chrome://crash", timeout=5_000)
        self.page = self.context.new_page()
        with suppress(Exception):
            dying.close()

    def quiet(self, now: str) -> None:
        self.page.wait_for_selector(f'#quiet[data-now="{now}"]')

    def wait_kept(self) -> None:
        """Wait until the device has the worker and this page."""
        self.until(
            "navigator.serviceWorker.controller && caches.open('pages').then(p => p.match(location.href)).then(Boolean)"
        )

    # --- the keyboard alone

    def tab_to(self, selector: str, most: int = 60) -> None:
        """Press Tab until the focus is there; wherever it stands on the way must be in sight and marked."""
        for _ in range(most):
            self.page.keyboard.press("Tab")
            assert self.page.evaluate(_FOCUS_SHOWN), self.page.evaluate(
                "document.activeElement.outerHTML.slice(0, 200)"
            )
            if self.page.evaluate("selector => document.activeElement.matches(selector)", selector):
                return
        raise AssertionError(f"{most} times Tab do not lead to {selector}")


# Whether the focus can be seen: an outline round the control, or round what stands for it (a choice, a tick, a field).
_FOCUS_SHOWN = """() => {
  const control = document.activeElement;
  if (!control || control === document.body) return true;
  const near = [
    control, control.nextElementSibling, control.closest("label"), control.closest(".entry"), control.parentElement,
  ];
  const shown = (style) => style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2;
  return near.some((node) => node && shown(getComputedStyle(node)));
}"""
