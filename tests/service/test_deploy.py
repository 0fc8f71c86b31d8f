"""The files to run it with name every setting, and only commands there are."""

from __future__ import annotations

import configparser
import json
import logging
import os
import re
import signal
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from pathlib import Path

import pytest

from scheduler.service.log_lines import JsonLines
from scheduler.settings import Settings, settings
from tests.service.made_job import made_forecast, made_job, utc
from tests.service.mail_server import free_port

ROOT = Path(__file__).resolve().parents[2]
DEPLOY = ROOT / "scheduler" / "deploy"
COMMAND = "import sys; from scheduler.cli import main; sys.exit(main())"


def test_the_environment_file_names_every_setting_with_its_default() -> None:
    text = (DEPLOY / "closein.env").read_text(encoding="utf-8")
    told = dict(re.findall(r"^#?(CLOSEIN_\w+)=(.*)$", text, re.MULTILINE))
    assert set(told) == {f"CLOSEIN_{name.upper()}" for name in Settings.model_fields}
    elsewhere = {"CLOSEIN_STORE", "CLOSEIN_CACHE"}  # a service has its own places
    given = {key: value for key, value in told.items() if key not in elsewhere}
    assert settings(given) == Settings()


def test_the_unit_can_be_read_and_keeps_the_password_out_of_the_environment() -> None:
    unit = configparser.ConfigParser(strict=False, interpolation=None)
    unit.optionxform = str  # type: ignore[assignment,method-assign]
    unit.read(DEPLOY / "closein.service", encoding="utf-8")
    service = unit["Service"]
    assert service["ExecStart"].split()[1] == "serve"
    assert int(service["LimitNOFILE"]) >= 4096
    assert service["LoadCredential"].startswith("smtp_password:")
    text = (DEPLOY / "closein.service").read_text(encoding="utf-8")
    assert "CLOSEIN_SMTP_PASSWORD=" not in text


def test_a_log_line_holds_named_fields_only() -> None:
    record = logging.makeLogRecord(
        {"name": "closein.mail", "levelname": "INFO", "msg": "message %s", "args": ("sent",),
         "job": "lift", "password": "right horse", "recipient": "a@example.org"}
    )  # fmt: skip
    line = json.loads(JsonLines().format(record))
    assert {key: line[key] for key in ("level", "from", "says", "job")} == {
        "level": "info", "from": "closein.mail", "says": "message sent", "job": "lift",
    }  # fmt: skip
    assert not {"password", "recipient"} & set(line)


def asked(port: int) -> tuple[int, dict[str, object]]:
    for _ in range(100):
        try:
            with urllib.request.urlopen(f"http://127.0.0.1:{port}/health", timeout=5) as answer:
                return answer.status, json.loads(answer.read())
        except urllib.error.HTTPError as error:
            return error.code, json.loads(error.read())
        except OSError:
            time.sleep(0.2)
    pytest.fail("the service does not answer")


def test_the_service_starts_answers_and_ends_when_told(tmp_path: Path) -> None:
    job, forecast, port = made_job(tmp_path), tmp_path / "forecast.json", free_port()
    forecast.write_bytes(made_forecast(utc(2026, 11, 9)))
    where = ["--store", str(tmp_path / "closein.db"), "--weather", str(forecast)]
    process = subprocess.Popen(
        [sys.executable, "-c", COMMAND, "serve", str(job), *where, "--port", str(port)],
        cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.PIPE, text=True,
        env={**os.environ, "LANG": "C.UTF-8"},
    )  # fmt: skip
    try:
        status, document = asked(port)
        assert (status, document["jobs"], document["fit"]) == (200, 1, True)
        with socket.socket() as other, pytest.raises(OSError, match="refused"):
            other.connect(("127.0.0.2", port))  # any other address of this machine
    finally:
        process.send_signal(signal.SIGTERM)
        errors = process.communicate(timeout=300)[1]
    assert process.returncode in {0, -signal.SIGTERM}
    lines = [json.loads(line) for line in errors.splitlines()]
    assert all(line["level"] in {"info", "warning"} for line in lines)


def test_one_round_by_a_timer_of_the_system_does_what_is_due(tmp_path: Path) -> None:
    job, forecast = made_job(tmp_path), tmp_path / "forecast.json"
    forecast.write_bytes(made_forecast(utc(2026, 11, 9)))
    where = ["--weather", str(forecast), "--once"]
    done = subprocess.run(
        [sys.executable, "-c", COMMAND, "serve", str(job), *where],
        cwd=ROOT, capture_output=True, text=True, timeout=120, check=True,
    )  # fmt: skip
    assert (tmp_path / "closein.db").is_file()  # where the other commands keep it too
    (line,) = (json.loads(text) for text in done.stderr.splitlines())
    assert (line["says"], line["kind"]) == ("run done", "look:forecast.json")
