"""`loopwright serve` as a person starts it: what it prints, whom it lets in, and that it ends whole."""

from __future__ import annotations

import os
import shutil
import signal
import ssl
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx2
import pytest

from loopwright.cli.serve import default_database
from loopwright.web.security import Serving


@contextmanager
def serving(folder: Path, *options: str) -> Iterator[tuple[subprocess.Popen[str], dict[str, str]]]:
    """Start a server; give its process and what it printed, by the first word of each line."""
    start = [sys.executable, "-c", "from loopwright.cli.main import run; run()"]
    command = [*start, "serve", "--port", "0", "--database", str(folder / "s.sqlite"), *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True) as process:
        assert process.stdout is not None
        told: dict[str, str] = {}
        try:
            for line in process.stdout:
                told[line.partition(" ")[0].strip()] = line.strip()
                if line.startswith(("Only", "Without")) or ("--tls-cert" in options and line.startswith("This link")):
                    break
            yield process, told
        finally:
            process.kill()


def _page(address: str, path: str, verify: ssl.SSLContext | bool = True) -> httpx2.Response:
    until = time.monotonic() + 20
    while True:
        try:
            return httpx2.get(address + path, headers={"accept": "text/html"}, verify=verify)
        except httpx2.ConnectError:
            if time.monotonic() > until:
                raise
            time.sleep(0.05)


@pytest.mark.skipif(sys.platform == "win32", reason="signals of POSIX")
def test_on_this_machine_it_prints_where_and_answers_and_ends_in_good_order(tmp_path: Path) -> None:
    with serving(tmp_path) as (process, told):
        address = told["Open"].split()[1]
        assert address.startswith("http://127.0.0.1:")
        assert told["Records:"].endswith("s.sqlite")
        assert "Set" not in told
        assert _page(address, "settings").status_code == 200
        job = httpx2.post(f"{address}api/v1/jobs", json={}).json()["id"]
        with httpx2.stream("GET", f"{address}api/v1/jobs/{job}/live") as live:
            lines = live.iter_lines()
            assert next(lines).startswith("retry")
            process.send_signal(signal.SIGTERM)
            assert list(lines) == [""]  # it ends, and is not cut off
        assert process.wait(30) == 0
        assert process.stdout is not None
        assert process.stdout.read() == ""  # no complaint


def test_on_a_network_it_prints_a_set_up_link_that_works(tmp_path: Path) -> None:
    with serving(tmp_path, "--host", "0.0.0.0") as (_, told):
        link = told["Set"].split()[2]
        port = link.split(":")[2].split("/")[0]
        address = f"http://127.0.0.1:{port}/"
        assert _page(address, "settings").headers["location"] == "/login?next=/settings"
        assert "Set up this shop" in _page(address, "join/" + link.rpartition("/")[2]).text
        assert "Without TLS" in told["Without"]


@pytest.mark.skipif(shutil.which("openssl") is None, reason="openssl makes the certificate of this test")
def test_with_a_certificate_it_speaks_tls(tmp_path: Path) -> None:
    cert, key = tmp_path / "cert.pem", tmp_path / "key.pem"
    made = "req -x509 -newkey ec -pkeyopt ec_paramgen_curve:P-256 -nodes -days 2 -subj /CN=localhost"
    name = ["-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"]
    where = ["-keyout", str(key), "-out", str(cert)]
    subprocess.run(["openssl", *made.split(), *name, *where], check=True, capture_output=True)
    options = ("--host", "0.0.0.0", "--tls-cert", str(cert), "--tls-key", str(key))
    with serving(tmp_path, *options) as (_, told):
        assert told["Open"].split()[1].startswith("https://")
        port = told["Open"].split()[1].split(":")[2].rstrip("/")
        answer = _page(f"https://127.0.0.1:{port}/", "login", ssl.create_default_context(cafile=str(cert)))
        assert answer.status_code == 200
        assert answer.headers["set-cookie"].startswith("__Host-loopwright=")


def _fails(tmp_path: Path, *options: str) -> None:
    with serving(tmp_path, *options) as (process, _):
        assert process.wait(30) == 2


def test_what_cannot_be_served_is_told(tmp_path: Path) -> None:
    key = tmp_path / "key.pem"
    key.write_text("not a key", encoding="utf-8")
    _fails(tmp_path, "--tls-key", str(key))
    _fails(tmp_path, "--tls-key", str(key), "--tls-cert", str(key))
    _fails(tmp_path, "--database", "mysql://somewhere/shop")
    _fails(tmp_path, "--host", "192.0.2.1")  # an address kept for documentation (RFC 5737), so nobody's


def test_the_default_is_this_machine_and_the_persons_own_folder() -> None:
    assert not Serving().on_network
    assert default_database().name == "loopwright.sqlite"
    assert default_database().is_relative_to(Path.home()) or os.environ.get("XDG_DATA_HOME")


@pytest.mark.skipif(not Path("/proc/self").exists(), reason="looks for a process in /proc")
def test_the_judging_processes_end_with_a_server_that_is_killed() -> None:
    script = (
        "import os, sys, time\n"
        "from loopwright.api.workers import pool\n"
        "if __name__ == '__main__':\n"
        "    kept = pool(1)  # a pool that nobody holds ends by itself\n"
        "    print(kept.submit(os.getpid).result(), flush=True)\n"
        "    time.sleep(60)\n"
    )
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        worker = int(process.stdout.readline())
        assert _alive(worker)
        process.kill()
    until = time.monotonic() + 10
    while _alive(worker) and time.monotonic() < until:
        time.sleep(0.05)
    assert not _alive(worker)


def _alive(pid: int) -> bool:
    try:
        return ") Z " not in Path(f"/proc/{pid}/stat").read_text(encoding="utf-8")
    except (FileNotFoundError, ProcessLookupError):
        return False
