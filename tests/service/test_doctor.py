"""The doctor names what is wrong and what would be right, and tells no secret."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from scheduler.cli import main
from tests.service.made_job import made_job, made_service, utc
from tests.service.mail_server import Behaviour, free_port, serving


def looked(capsys: pytest.CaptureFixture[str], *options: str) -> tuple[int, dict[str, list[str]]]:
    code = main(["doctor", "--json", *options])
    wrong: dict[str, list[str]] = {}
    for look in json.loads(capsys.readouterr().out)["looks"]:
        if not look["fine"]:
            wrong.setdefault(look["what"], []).append(look["says"])
    return code, wrong


@pytest.fixture(autouse=True)
def _plain_room(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("CLOSEIN_STORE", str(tmp_path / "closein.db"))
    monkeypatch.setattr("locale.getpreferredencoding", lambda _: "UTF-8")
    monkeypatch.setattr("scheduler.service.doctor.ROOM_MB", 1)


def test_an_empty_installation_is_told_what_it_needs(capsys: pytest.CaptureFixture[str]) -> None:
    code, wrong = looked(capsys, "--offline")
    assert code == 2
    assert wrong == {
        "mail": ["no server is set; set CLOSEIN_SMTP_HOST and _FROM"],
        "jobs": ["none is looked after; closein serve JOB.yaml"],
    }


def test_a_mail_server_that_cannot_be_reached_is_named_and_one_that_can_is_fine(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setenv("CLOSEIN_SMTP_HOST", "127.0.0.1")
    monkeypatch.setenv("CLOSEIN_SMTP_FROM", "closein@example.org")
    monkeypatch.setenv("CLOSEIN_SMTP_SECURITY", "none")
    monkeypatch.setenv("CLOSEIN_SMTP_PORT", str(port := free_port()))
    _, wrong = looked(capsys)
    assert wrong["mail"] == [f"127.0.0.1:{port}: Connection refused"]
    with serving(Behaviour()) as server:
        monkeypatch.setenv("CLOSEIN_SMTP_PORT", str(server.port))
        _, wrong = looked(capsys)
    assert "mail" not in wrong


def test_a_job_is_looked_at_with_its_people(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    job = made_job(tmp_path, delivery="[a@example.org, {phone: 315 555 0142}]")
    made_service(tmp_path / "closein.db", job, utc(2026, 11, 9))
    _, wrong = looked(capsys, "--offline")
    assert wrong["job north-end-lift"] == [
        "no way to send mail; set CLOSEIN_SMTP_HOST",
        "no way to send text; set CLOSEIN_TEXT_WEBHOOK",
        "nobody is on call; name a person in on_call:",
    ]
    job.write_text(job.read_text().replace("duration_h: 6", "duration_h: soon"))
    _, wrong = looked(capsys, "--offline")
    assert any("duration_h is 'soon'" in line for line in wrong["job north-end-lift"])


def test_a_password_over_clear_text_is_refused_and_not_told(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    secret = tmp_path / "secret"
    secret.write_text("right horse\n")
    for name, value in (
        ("HOST", "mail.example.org"), ("FROM", "c@example.org"), ("SECURITY", "none"),
        ("USER", "c"), ("PASSWORD_FILE", str(secret)),
    ):  # fmt: skip
        monkeypatch.setenv(f"CLOSEIN_SMTP_{name}", value)
    assert main(["doctor", "--offline"]) == 2
    told = capsys.readouterr()
    assert "a password goes over starttls or tls only" in told.err
    assert "horse" not in told.err + told.out
