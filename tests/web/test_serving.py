"""`sagtrace serve` as a person starts it: it says where, answers this machine only, and stops."""

from __future__ import annotations

import os
import re
import signal
import socket
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import httpx2
import pytest

SERVE = [sys.executable, "-m", "sagtrace.cli.main", "serve"]


@pytest.fixture(scope="module")
def started(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Path]]:
    """The address of a running workbench, and where it keeps its jobs."""
    data = tmp_path_factory.mktemp("data")
    env = {**os.environ, "XDG_DATA_HOME": str(data)}
    with subprocess.Popen(
        [*SERVE, "--port", "0"], env=env, stderr=subprocess.PIPE, text=True
    ) as process:
        assert process.stderr is not None
        said = ""
        while not (found := re.search(r"http://[0-9.]+:[0-9]+/", said)):
            line = process.stderr.readline()
            assert line, said
            said += line
        yield found[0], data
        process.send_signal(signal.SIGINT)
        assert process.wait(timeout=20) == 0
        assert "Traceback" not in process.stderr.read()


def test_the_demonstration_is_in_it(started: tuple[str, Path]) -> None:
    address, data = started
    assert "Left rear sinks within minutes" in httpx2.get(address).text
    assert (data / "sagtrace" / "jobs.db").exists()


def test_it_listens_on_loopback_alone(started: tuple[str, Path]) -> None:
    """As proc(5) has it: the local address in hexadecimal, lowest byte first; 0A is LISTEN."""
    port = int(started[0].rstrip("/").rpartition(":")[2])
    rows = [line.split() for line in Path("/proc/net/tcp").read_text().splitlines()[1:]]
    rows += [line.split() for line in Path("/proc/net/tcp6").read_text().splitlines()[1:]]
    listening = [row[1] for row in rows if row[3] == "0A" and int(row[1].split(":")[1], 16) == port]
    assert listening == [f"0100007F:{port:04X}"]


def test_a_port_that_is_taken_is_said() -> None:
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = other.getsockname()[1]
        done = subprocess.run(
            [*SERVE, "--port", str(port), "--store", "memory"],
            text=True, capture_output=True, check=False, timeout=60,
        )  # fmt: skip
    assert done.returncode == 3
    assert f"port {port} cannot be used" in done.stderr
    assert "--port 0" in done.stderr
    assert "Traceback" not in done.stderr
