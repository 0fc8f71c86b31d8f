"""Attacks that must not get through, a test each; others stand in test_log_page, test_signing_in,
tests/output (formula, calendar and header injection) and tests/mail.

Kinds after the OWASP Top Ten and its cheat sheets; CSP Level 3, RFC 6265bis for cookies.
"""

from __future__ import annotations

import asyncio
import csv
import email
import errno
import io
import re
import resource
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import replace
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from rules.errors import BadInput, CloseinError
from scheduler.output.calendar_feed import calendar_feed
from scheduler.output.csv_text import csv_text
from scheduler.service.links import give
from scheduler.service.signing_in import TRIES_ADDRESS
from scheduler.startup_service import pages
from scheduler.web import server
from scheduler.web.limits import MOST_FORM, Limits
from tests.service.made_job import Made, made_job, made_service, utc
from tests.web.made_site import (
    BAD,
    FORM,
    JOB,
    PASSWORD,
    client_of,
    csrf_of,
    entries,
    link,
    made_site,
    sign_in,
)

ROOT = f"/j/{JOB}/"
ROOM = Path(__file__).resolve().parents[2]
# sheet.py quotes its cells alike (tests/jobfile), hourly_csv.py writes numbers alone
WRITERS = {"csv_text.py", "sheet.py", "hourly_csv.py"}


# forms of other sites


@pytest.mark.parametrize("csrf", ["", "0" * 64, "\u2028", None])
def test_a_form_without_the_page_s_own_token_writes_nothing(
    made: Made, client: TestClient, csrf: str | None
) -> None:
    sign_in(made, client)
    form = FORM if csrf is None else FORM | {"csrf": csrf}
    assert client.post(f"{ROOT}log", data=form).status_code == 400
    assert entries(made) == []


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "https://evil.example"},
        {"origin": "null"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "http://testserver.evil.example"},
    ],
)
def test_a_form_that_another_site_sends_writes_nothing(
    made: Made, client: TestClient, headers: dict[str, str]
) -> None:
    sign_in(made, client)
    form = FORM | {"csrf": csrf_of(client, f"{ROOT}log")}
    assert client.post(f"{ROOT}log", data=form, headers=headers).status_code == 400
    login = {"name": "B. Lund", "password": PASSWORD}
    assert client.post("/login", data=login, headers=headers).status_code == 400
    assert entries(made) == []


def test_the_token_of_one_person_s_form_is_worth_nothing_in_another_s(
    made: Made, client: TestClient
) -> None:
    one, other = link(made, may_log=True), link(made, "C. Moe", may_log=True)
    form = FORM | {"csrf": csrf_of(client, f"{one}log")}
    assert client.post(f"{other}log", data=form).status_code == 400
    assert entries(made) == []


def test_a_cookie_alone_writes_nothing_by_the_json_address(made: Made, client: TestClient) -> None:
    sign_in(made, client)
    body = {"what": "lost", "hours": 4, "cause": "rain", "key": "k" * 24}
    answer = client.post(f"/v1/jobs/{JOB}/log", json=body)
    assert answer.status_code == 403
    assert client.post(f"/v1/jobs/{JOB}/log", content=b"{}").status_code in {403, 422}
    assert entries(made) == []


def test_signing_somebody_out_takes_their_form(made: Made, client: TestClient) -> None:
    sign_in(made, client)
    assert client.post("/logout", data={"csrf": "0" * 64}).status_code == 400
    assert client.get(ROOT).status_code == 200


# what names and notes may hold


@pytest.mark.parametrize("page", ["", "week", "plan", "walls", "close-in", "log", "tomorrow"])
def test_html_in_a_task_s_name_stays_text(made: Made, client: TestClient, page: str) -> None:
    text = client.get(f"{link(made, may_log=True)}{page}").text
    assert BAD not in text
    assert "<script>" not in text


def test_html_in_a_note_and_in_a_person_s_name_stays_text(made: Made, client: TestClient) -> None:
    who = f"<img src=x onerror={JOB}>"
    path = f"{link(made, who, may_log=True)}log"
    note = FORM | {"what": "note", "text": f"\"'>{BAD}", "csrf": csrf_of(client, path), "by": who}
    assert client.post(path, data=note).status_code == 200
    made.clock.now = made.clock.now.replace(minute=40)
    from scheduler.service.replans import replan_due

    replan_due(made.service)
    text = client.get(path).text
    assert "alert(1)" in text
    assert BAD not in text
    assert "<img src=x" not in text


@pytest.mark.parametrize("text", ["{{ 7 * 7 }}", "{% include 'x' %}", "${7*7}", "#{7*7}"])
def test_a_template_in_a_note_is_not_run(made: Made, client: TestClient, text: str) -> None:
    path = f"{link(made, may_log=True)}log"
    note = FORM | {"what": "note", "text": text, "csrf": csrf_of(client, path)}
    assert client.post(path, data=note).status_code == 200
    made.clock.now = made.clock.now.replace(minute=40)
    from scheduler.service.replans import replan_due

    replan_due(made.service)
    shown = client.get(path).text
    assert "49" not in re.findall(r"note (\S+)", shown)
    assert "7" in shown or "include" in shown


def test_a_template_in_a_job_s_name_is_not_run(tmp_path: Path) -> None:
    made = made_site(tmp_path, name="'{{ cycler.__init__ }} x'")
    (job,) = made.service.store.jobs()
    from scheduler.service.links import give

    token = give(made.service.store, job, "A. Ryd", now=made.clock.now)
    with client_of(made) as client:
        assert "{{ cycler.__init__ }}" in client.get(f"/p/{token}/").text


def test_a_line_break_in_a_task_s_name_makes_no_header(tmp_path: Path) -> None:
    """RFC 5322: a header ends at a line break; one in the subject would begin another."""
    job = made_job(tmp_path, task='"Lay\\r\\nBcc: all@example.org\\r\\n\\r\\nbody"')
    made = made_service(tmp_path / "closein.db", job, utc(2026, 11, 9, 3))
    made.clock.now = utc(2026, 11, 9, 10, 30)
    from scheduler.service.rounds import round_of

    try:
        round_of(made.service)
    except CloseinError:
        return
    for _, content in made.post.took:
        message = email.message_from_bytes(content)
        assert message["Bcc"] is None
        assert "\n" not in str(message["Subject"]).strip()


def test_a_line_break_in_a_name_makes_no_calendar_line(tmp_path: Path) -> None:
    """RFC 5545, 3.3.11: a line break in a text is written as backslash n."""
    made = made_site(tmp_path)
    (job,) = [made.service.job(w) for w in made.service.store.runs.watched()]
    from scheduler.runs.brief import brief

    morning = brief(
        made.service.desk(made.service.store.runs.watched()[0], made.clock.now, "kept")
    )
    plan = morning.planned.answer
    bad = "x\r\nEND:VEVENT\r\nBEGIN:VALARM\r\nACTION:DISPLAY"
    lines = tuple(replace(line, name=bad) for line in plan.tasks)
    raw, _ = calendar_feed(replace(plan, tasks=lines), job, answers={}, told={})
    assert b"\r\nBEGIN:VALARM" not in raw
    assert raw.count(b"BEGIN:VEVENT") == raw.count(b"\r\nEND:VEVENT")


@pytest.mark.parametrize("begin", ["=", "+", "-", "@", "\t=", "\r="])
def test_a_text_that_a_spreadsheet_would_run_is_quoted(begin: str) -> None:
    """OWASP, CSV injection: no table of the product is written past the guard."""
    bad = f'{begin}HYPERLINK("https://evil.example")'
    (row,) = list(csv.reader(io.StringIO(csv_text(("name",), [(bad,)]))))[1:]
    assert row == [f"'{bad}"]
    writers = [
        path.name
        for path in (ROOM / "scheduler").rglob("*.py")
        if re.search(r"csv\.(Dict)?[wW]riter\(", path.read_text(encoding="utf-8"))
    ]
    assert set(writers) == WRITERS


# ways out of the folder, forged links, other jobs


@pytest.mark.parametrize(
    "path",
    [
        "../../etc/passwd", "%2e%2e/%2e%2e/x", "bars.svg/../../..", "a%00b", "..%2f..%2fetc",
        "photos/../../x", "photos/%2e%2e%2fx/small", "....//....//etc/passwd",
    ],
)  # fmt: skip
def test_no_path_leads_out(made: Made, client: TestClient, path: str) -> None:
    for begin in (link(made), "/files/"):
        answer = client.get(f"{begin}{path}")
        ways = {"/login", "/p/x/"}  # where a browser has taken the dots out before it asked
        assert answer.status_code in {400, 404} or answer.headers["location"] in ways


@pytest.mark.parametrize("token", ["", "x", "0" * 43, "%00", "' OR 1=1 --", "a" * 5000])
def test_a_forged_link_opens_nothing(made: Made, client: TestClient, token: str) -> None:
    link(made)
    assert client.get(f"/p/{token}/").status_code == 404
    answer = client.get(f"/v1/jobs/{JOB}/today", headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code in {401, 404}


def test_the_hash_that_the_store_keeps_is_no_key(made: Made, client: TestClient) -> None:
    link(made)
    (kept,) = made.service.store.people.links(JOB)
    assert client.get(f"/p/{kept.digest}/").status_code == 404


def test_a_link_opens_its_own_job_alone(made: Made, client: TestClient, tmp_path: Path) -> None:
    token = link(made).split("/")[2]
    told = {"Authorization": f"Bearer {token}"}
    assert client.get("/v1/jobs", headers=told).json()[0]["job"] == JOB
    assert client.get("/v1/jobs/another/today", headers=told).status_code == 404
    assert client.get(f"/j/{JOB}/", headers=told).headers["location"] == "/login"


def test_a_link_cannot_give_itself_rights(made: Made, client: TestClient) -> None:
    root = link(made)
    assert client.get(f"{root}people").status_code == 404
    assert client.post(f"{root}people", data={"who": "X", "may_log": "yes"}).status_code == 404
    assert [one.may_log for one in made.service.store.people.links(JOB)] == [False]


@pytest.mark.parametrize("sign", ["\0", "\x07", "\n", "\r", "\x85", "\u2028"])
def test_a_line_with_a_control_character_is_refused_in_one_clear_line(
    made: Made, client: TestClient, sign: str
) -> None:
    """PostgreSQL keeps no U+0000, a mail's head breaks at a line end (RFC 5322, 2.2)."""
    path = f"{link(made, may_log=True)}log"
    token, csrf = path.split("/")[2], csrf_of(client, path)
    named = f"U+{ord(sign):04X}"
    for wrong in ({"what": "note", "text": f"a{sign}b"}, {"key": f"{sign}{'k' * 24}"},
                  {"what": "reading", "place": f"north{sign}"}):  # fmt: skip
        form = FORM | {"csrf": csrf} | wrong
        answer = client.post(path, data=form, headers={"Accept": "application/json"})
        assert answer.status_code == 400
        assert named in answer.json()["wrong"][0]
        assert client.post(path, data=form).status_code == 400
    for wrong in ({"what": "note", "text": f"a{sign}b"}, {"key": f"{sign}{'k' * 24}"}):
        body = {"what": "lost", "hours": 1, "cause": "rain", "key": "k" * 24} | wrong
        bearer = {"Authorization": f"Bearer {token}"}
        answer = client.post(f"/v1/jobs/{JOB}/log", json=body, headers=bearer)
        assert answer.status_code == 422, answer.text
    assert client.post("/login", data={"name": f"a{sign}b", "password": "x"}).status_code == 400
    sign_in(made, client)
    own = {"csrf": csrf_of(client, f"{ROOT}people"), "who": f"C.{sign}Moe"}
    assert named in client.post(f"{ROOT}people", data=own).text
    with pytest.raises(BadInput, match="person's name"):
        give(made.service.store, JOB, f"C.{sign}Moe", now=made.clock.now)
    assert [one.who for one in made.service.store.people.links(JOB)] == ["A. Ryd"]
    assert entries(made) == []


def test_people_s_own_writing_is_taken(made: Made, client: TestClient) -> None:
    """Joiners, marks of direction and no-break spaces are letters' company, not controls."""
    path = f"{link(made, 'نور‌الدین', may_log=True)}log"
    text = "Nord\u00a0🧱\u200d ok\u200e é"
    form = FORM | {"csrf": csrf_of(client, path), "by": "نور‌الدین", "what": "note", "text": text}
    assert client.post(path, data=form).status_code == 200
    (entry,) = made.service.store.entries(JOB)
    assert (entry.text, entry.who) == (text, "نور‌الدین")


# too much, too long, too slow


def test_a_body_that_is_too_long_is_cut_off(made: Made, client: TestClient) -> None:
    form = {"name": "x", "password": "y" * (MOST_FORM + 1)}
    assert client.post("/login", data=form).status_code == 413
    path = f"{link(made, may_log=True)}log"
    raw = b"text=" + b"a" * 9_000_000
    kind = {"content-type": "application/x-www-form-urlencoded"}
    assert client.post(path, content=raw, headers=kind).status_code == 413
    assert entries(made) == []


def test_a_form_with_too_many_fields_is_not_read(made: Made, client: TestClient) -> None:
    path = f"{link(made, may_log=True)}log"
    form = FORM | {"csrf": csrf_of(client, path)} | {f"f{n}": "x" for n in range(40)}
    assert client.post(path, data=form).status_code == 400
    assert entries(made) == []


@pytest.mark.parametrize(
    ("kind", "content"),
    [
        ("text/plain", b"what=lost"),
        ("application/json", b'{"what": "lost"}'),
        ("multipart/form-data", b"what=lost"),
        ("multipart/form-data; boundary=x", b"--x\r\nbroken"),
        ("application/x-www-form-urlencoded", b"text=%ff%fe"),
        ("", b"what=lost"),
    ],
)
def test_a_body_that_is_no_form_is_not_taken(
    made: Made, client: TestClient, kind: str, content: bytes
) -> None:
    path = f"{link(made, may_log=True)}log"
    answer = client.post(path, content=content, headers={"content-type": kind})
    assert answer.status_code == 400
    assert entries(made) == []


def test_guessing_names_from_one_address_is_stopped(made: Made, client: TestClient) -> None:
    answers = [
        client.post("/login", data={"name": f"name {n}", "password": "no" * 9}).status_code
        for n in range(TRIES_ADDRESS + 2)
    ]
    assert answers == [403] * TRIES_ADDRESS + [429] * 2


@contextmanager
def served(made: Made) -> Iterator[int]:
    """Serve the pages by the product's own server on a free port."""
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = int(free.getsockname()[1])
    own = server.server_of(pages(made.service), host="127.0.0.1", port=port)
    thread = threading.Thread(target=own.run, daemon=True)
    thread.start()
    while not own.started:
        time.sleep(0.02)
    try:
        yield port
    finally:
        own.should_exit = True
        thread.join(timeout=20)


def test_who_never_ends_a_request_is_not_waited_for(
    made: Made, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A head that comes letter by letter, and a second one on a connection that was of use."""
    monkeypatch.setattr(server, "HEAD_S", 0.5)
    with served(made) as port:
        for before in (b"", b"GET /health HTTP/1.1\r\nHost: x\r\n\r\n"):
            with socket.create_connection(("127.0.0.1", port), timeout=10) as slow:
                slow.sendall(before)
                if before:
                    assert slow.recv(65536).startswith(b"HTTP/1.1 200")
                begun = time.monotonic()
                slow.sendall(b"GET /health HT")
                try:
                    while slow.recv(65536):
                        pass
                except ConnectionResetError:
                    pass
                assert time.monotonic() - begun < 5
        with socket.create_connection(("127.0.0.1", port), timeout=10) as well:
            well.sendall(b"GET /health HTTP/1.1\r\nHost: x\r\n\r\n")
            assert well.recv(65536).startswith(b"HTTP/1.1 200")


def test_more_connections_than_there_is_room_for_are_closed_and_files_are_left(
    made: Made, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    """Who opens all it can holds no file that a morning needs, and fills no log."""
    monkeypatch.setattr(server, "most_open", lambda: 8)
    with served(made) as port:
        held = [socket.create_connection(("127.0.0.1", port), timeout=60) for _ in range(30)]
        ends = 0
        for one in held[8:]:
            try:
                ends += one.recv(1) == b""
            except ConnectionResetError:
                ends += 1
        assert ends == 22
        held[0].sendall(b"GET /health HTTP/1.1\r\nHost: x\r\nConnection: close\r\n\r\n")
        while held[0].recv(65536):
            pass
        for one in held:
            one.close()
        answer = b""
        while not answer.startswith(b"HTTP/1.1 200"):  # once the service has seen them go
            with (
                socket.create_connection(("127.0.0.1", port), timeout=60) as well,
                suppress(OSError),
            ):
                well.sendall(b"GET /health HTTP/1.1\r\nHost: x\r\n\r\n")
                answer = well.recv(65536)
    told = [line for line in caplog.messages if "closed unheard" in line]
    assert len(told) == 1


def test_one_address_takes_its_part_and_another_finds_room() -> None:
    """Addresses for documentation: RFC 5737, RFC 3849; of version 6 a /64 counts as one."""
    doors = server.Doors()
    for near, other in (("192.0.2.7", "192.0.2.8"), ("2001:db8::1", "2001:db8:0:1::1")):
        assert [doors.enters(near, 0.0) for _ in range(server.OF_ADDRESS + 2)] == [
            True
        ] * server.OF_ADDRESS + [False] * 2
        assert doors.enters(other, 0.0)
    assert not doors.enters("2001:db8::2", 0.0)
    assert not doors.enters("::ffff:192.0.2.7", 0.0)
    assert all(doors.enters("127.0.0.1", 0.0) for _ in range(server.OF_ADDRESS + 50))
    doors.leaves("192.0.2.7")
    assert doors.enters("192.0.2.7", 0.0)


def test_the_files_of_the_system_are_not_all_for_connections(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    for allowed, most in ((1024, 768), (16384, 1000), (resource.RLIM_INFINITY, 1000), (100, 1)):
        monkeypatch.setattr(resource, "getrlimit", lambda _, allowed=allowed: (allowed, allowed))
        assert server.most_open() == most


def test_a_system_out_of_files_is_told_once_a_minute(caplog: pytest.LogCaptureFixture) -> None:
    own = server.server_of(None, host="127.0.0.1", port=0)
    loop = asyncio.new_event_loop()
    for _ in range(2000):
        fault = OSError(errno.EMFILE, "Too many open files")
        own._loop_fault(loop, {"message": "socket.accept() failed", "exception": fault})
    loop.close()
    assert caplog.messages == ["the system has no files left for connections"]
    assert caplog.records[0].exc_info is None


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "a@evil.example", "[::1]"])
def test_what_a_request_calls_the_service_shapes_no_link(
    made: Made, client: TestClient, host: str
) -> None:
    """A secret link that begins with another's address is given away when it is opened."""
    sign_in(made, client)
    headers = {"host": host}
    form = {"who": "C. Moe", "csrf": csrf_of(client, f"{ROOT}people")}
    text = client.post(f"{ROOT}people", data=form, headers=headers).text
    found = re.search(r'readonly value="([^"]*)"', text)
    assert found is not None
    assert re.fullmatch(r"/p/[\w-]+/", found[1])
    assert "CLOSEIN_PAGE_URL names no address" in text
    set_up = client_of(replace(made, service=replace(made.service, page="https://site.example/")))
    set_up.cookies.update({f"__Host-{name}": value for name, value in client.cookies.items()})
    told = set_up.post(f"{ROOT}people", data=form, headers=headers).text
    assert re.search(r'readonly value="https://site\.example/p/[\w-]+/"', told)
    assert "evil" not in text + told


def test_a_body_that_comes_drop_by_drop_is_given_up(made: Made) -> None:
    with (
        served(replace_limits(made)) as port,
        socket.create_connection(("127.0.0.1", port), timeout=10) as slow,
    ):
        slow.sendall(
            b"POST /login HTTP/1.1\r\nHost: x\r\nContent-Length: 500\r\n"
            b"Content-Type: application/x-www-form-urlencoded\r\n\r\nname="
        )
        assert slow.recv(65536).startswith(b"HTTP/1.1 408")


def replace_limits(made: Made) -> Made:
    """Shorten the time that a body may take; ``body_s`` is the default of ``Limits``."""
    own = Limits.__init__.__kwdefaults__
    assert own is not None
    own["body_s"] = 0.5
    return made


@pytest.fixture(autouse=True)
def limits_as_they_were() -> Iterator[None]:
    own = Limits.__init__.__kwdefaults__
    assert own is not None
    before = dict(own)
    yield
    own.update(before)


# what the service fetches, and what its log says


@pytest.mark.parametrize(
    "source",
    [
        "http://169.254.169.254/latest/meta-data", "file:///etc/passwd", "gopher://127.0.0.1:25/",
        "http://localhost:8080/",
    ],
)  # fmt: skip
def test_no_job_file_makes_the_service_ask_an_address(tmp_path: Path, source: str) -> None:
    """A job names sources by words of a list; where they are asked the operator sets."""
    job = made_job(tmp_path)
    text = job.read_text(encoding="utf-8").replace("[gfs]", f'["{source}"]')
    job.write_text(text, encoding="utf-8")
    with pytest.raises(CloseinError, match="source"):
        made_service(tmp_path / "closein.db", job, utc(2026, 11, 9, 3))


def test_no_token_and_no_password_comes_into_the_log(
    made: Made, capfd: pytest.CaptureFixture[str]
) -> None:
    from scheduler.service.log_lines import log_to

    log_to()
    root = link(made)
    with served(made) as port:
        for head in (
            f"GET {root} HTTP/1.1\r\nHost: x\r\n\r\n",
            f"GET {root}nothing HTTP/1.1\r\nHost: x\r\n\r\n",
            f"POST /login HTTP/1.1\r\nHost: x\r\nContent-Length: 20\r\n\r\nname={PASSWORD[:15]}",
            "GARBAGE\r\n\r\n",
        ):
            with socket.create_connection(("127.0.0.1", port), timeout=10) as one:
                one.sendall(head.encode())
                one.recv(65536)
    said = "".join(capfd.readouterr())
    assert root.split("/")[2] not in said
    assert PASSWORD[:15] not in said
