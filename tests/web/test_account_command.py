"""``closein account`` by the public command, and what ``closein serve`` listens on."""

from __future__ import annotations

import socket
import subprocess
import sys
import time
from pathlib import Path

import pytest

from scheduler.cli import main
from tests.service.made_job import made_job
from tests.web.made_site import PASSWORD

ROOT = Path(__file__).resolve().parents[2]


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("CLOSEIN_STORE", str(tmp_path / "closein.db"))
    (tmp_path / "password").write_text(f"{PASSWORD}\nnot this line\n", encoding="utf-8")
    return tmp_path


def test_an_account_is_opened_listed_and_closed(
    store: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = str(store / "password")
    assert main(["account", "B. Lund", "--password-file", file]) == 0
    more = ["--role", "reader", "--may-release", "engineer"]
    assert main(["account", "E. Berg", "--password-file", file, *more]) == 0
    assert main(["account", "B. Lund", "--close"]) == 0
    capsys.readouterr()
    assert main(["account"]) == 0
    assert capsys.readouterr().out.splitlines() == [
        "B. Lund, owner, closed",
        "E. Berg, reader, releases as engineer",
    ]
    assert main(["verify"]) == 0
    assert PASSWORD.encode() not in (store / "closein.db").read_bytes()


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["X", "--password-file", "{}/absent"], "--password-file"),
        (["X", "--password-file", "{}/short"], "want 15 to 256"),
        (["X", "--password-file", "{}/password", "--may-release", "king"], "want one of"),
        (["\x07", "--password-file", "{}/password"], "a person's name"),
        (["Nobody", "--close"], "no open account"),
    ],
)
def test_what_cannot_be_is_one_line_and_nothing_is_kept(
    store: Path, capsys: pytest.CaptureFixture[str], arguments: list[str], said: str
) -> None:
    (store / "short").write_text("short\n", encoding="utf-8")
    assert main(["account", *(one.format(store) for one in arguments)]) == 2
    told = capsys.readouterr().err
    assert said in told
    assert told.count("\n") == 1
    assert main(["account"]) == 0
    assert capsys.readouterr().out == "nobody\n"


def test_the_service_listens_on_this_machine_alone(tmp_path: Path) -> None:
    """The addresses of the listening socket, as the kernel lists them (Linux, proc(5))."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    job = made_job(tmp_path)
    process = subprocess.Popen(
        [sys.executable, "-c", "import sys; from scheduler.cli import main; sys.exit(main())",
         "serve", str(job), "--port", str(port), "--store", str(tmp_path / "s.db")],
        cwd=ROOT, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL, text=True,
    )  # fmt: skip
    try:
        assert process.stdout is not None
        process.stdout.readline()
        found: list[str] = []
        for _ in range(200):
            for table in ("/proc/net/tcp", "/proc/net/tcp6"):
                rows = Path(table).read_text(encoding="ascii").splitlines()[1:]
                found += [
                    row.split()[1].partition(":")[0]
                    for row in rows
                    if row.split()[1].endswith(f":{port:04X}") and row.split()[3] == "0A"
                ]
            if found:
                break
            time.sleep(0.1)
        assert set(found) == {"0100007F"}  # 127.0.0.1, and no other
    finally:
        process.terminate()
        process.wait(timeout=300)
