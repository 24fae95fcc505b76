"""Starting and stopping: as a program, twice, on a taken port, for a phone."""

import contextlib
import json
import os
import signal
import socket
import ssl
import subprocess
import sys
import urllib.request
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
from cryptography import x509

from hoopwise.bench import certificate, serve
from hoopwise.bench.serve import BenchError, bound, where_it_runs

COMMAND = [sys.executable, "-c", "from hoopwise.cli import main; main()", "bench", "--no-browser"]


@contextlib.contextmanager
def program(folder: Path, *more: str) -> Iterator[tuple[subprocess.Popen[str], str]]:
    """The bench as a program; its address, read from what it prints."""
    with subprocess.Popen(
        [*COMMAND, "--folder", str(folder), *more],
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        env={**os.environ, "OMP_NUM_THREADS": "1"},
    ) as process:
        assert process.stdout is not None
        lines = []
        for line in process.stdout:
            lines.append(line)
            if line.startswith("Stop it"):
                break
        try:
            assert process.poll() is None, "".join(lines)
            yield process, "".join(lines)
        finally:
            process.kill()


def test_it_runs_says_where_and_stops_cleanly(tmp_path: Path) -> None:
    with program(tmp_path) as (process, told):
        address = told.split()[4]
        with urllib.request.urlopen(f"{address}/health", timeout=5) as answer:
            assert json.load(answer)["pid"] == process.pid
        assert where_it_runs(tmp_path) == address
        second = subprocess.run(
            [*COMMAND, "--folder", str(tmp_path)], capture_output=True, text=True, timeout=30
        )
        assert second.returncode == 0
        assert second.stdout == f"The bench already runs at {address}\n"
        process.send_signal(signal.SIGINT)
        assert process.wait(15) == 0
        assert process.stdout is not None
        assert process.stdout.read() == "The bench is closed.\n"
    assert where_it_runs(tmp_path) is None
    assert not (tmp_path / "running.json").exists()


def test_a_note_left_by_a_crash_is_not_believed(tmp_path: Path) -> None:
    (tmp_path / "running.json").write_text('{"address": "http://127.0.0.1:9", "pid": 1}')
    assert where_it_runs(tmp_path) is None
    (tmp_path / "running.json").write_text('{"address": "http://192.0.2.1", "pid": 1}')
    assert where_it_runs(tmp_path) is None


def test_a_taken_port_is_told() -> None:
    with socket.socket() as held:
        held.bind(("127.0.0.1", 0))
        held.listen()
        port = held.getsockname()[1]
        with pytest.raises(BenchError, match=f"Port {port} is taken"):
            bound("127.0.0.1", port)


def test_no_network_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    class Nowhere(socket.socket):
        def connect(self, address: object) -> None:
            raise OSError("unreachable")

    monkeypatch.setattr("hoopwise.bench.serve.socket.socket", Nowhere)
    with pytest.raises(BenchError, match="in no network"):
        serve.network_address()


def test_a_phone_gets_https_and_must_pair(tmp_path: Path) -> None:
    """127.0.0.2 stands for the computer's address in the network."""
    script = (
        "import sys; from pathlib import Path; from hoopwise.bench.serve import Options, run;"
        f"run(Options(Path({str(tmp_path)!r}), lan=True, lan_address='127.0.0.2'),"
        "lambda p: print(p.local, p.phone, flush=True))"
    )
    with subprocess.Popen([sys.executable, "-c", script], stdout=subprocess.PIPE, text=True) as run:
        try:
            assert run.stdout is not None
            local, phone = run.stdout.readline().split()
            trusted = ssl.create_default_context(cafile=str(tmp_path / "bench.crt"))
            with pytest.raises(urllib.error.HTTPError) as refused:
                urllib.request.urlopen(phone, context=trusted, timeout=5)
            assert refused.value.code == 401
            refused.value.close()
            with urllib.request.urlopen(f"{local}/phone.json", timeout=5) as answer:
                facts = json.load(answer)
            opener = urllib.request.build_opener(
                urllib.request.HTTPSHandler(context=trusted), urllib.request.HTTPCookieProcessor()
            )
            with opener.open(facts["address"], timeout=5) as page:
                assert b"hoopwise bench" in page.read()
            assert run.poll() is None
        finally:
            run.terminate()
            run.wait(15)


def test_a_certificate_is_for_this_address_and_private(tmp_path: Path) -> None:
    made = certificate.certificate_for("192.0.2.7", tmp_path)
    known = x509.load_pem_x509_certificate(made.certificate.read_bytes())
    names = known.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert [str(a) for a in names.get_values_for_type(x509.IPAddress)] == ["192.0.2.7"]
    assert made.key.stat().st_mode & 0o077 == 0
    assert known.not_valid_after_utc < datetime.now(UTC) + timedelta(days=398)
    assert certificate.certificate_for("192.0.2.7", tmp_path) == made
    assert certificate.certificate_for("192.0.2.8", tmp_path).fingerprint != made.fingerprint


def test_a_damaged_certificate_is_made_again(tmp_path: Path) -> None:
    made = certificate.certificate_for("192.0.2.7", tmp_path)
    made.certificate.write_text("nothing")
    assert certificate.certificate_for("192.0.2.7", tmp_path).fingerprint != made.fingerprint
