"""Accounts, sessions and roles; lengths of a password after NIST SP 800-63B-4, 3.1.1.2."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from rules.errors import BadInput
from scheduler.interfaces.people import Role
from scheduler.service.links import digest_of
from scheduler.service.signing_in import (
    FORGIVEN,
    LASTS,
    TRIES,
    _hasher,
    close_account,
    open_account,
)
from scheduler.service.signing_in import sign_in as begin
from tests.service.made_job import Made
from tests.web.made_site import (
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


def test_an_owner_signs_in_sees_the_job_and_out_again(made: Made, client: TestClient) -> None:
    assert client.get(ROOT).headers["location"] == "/login"
    sign_in(made, client)
    assert ROOT in client.get("/jobs").text
    assert client.get(ROOT).status_code == 200
    answer = client.post("/logout", data={"csrf": csrf_of(client, "/jobs")})
    assert answer.status_code == 303
    assert client.get(ROOT).status_code in {303, 404}
    assert client.get("/jobs").headers["location"] == "/login"


def test_a_guess_costs_what_rfc_9106_asks() -> None:
    """RFC 9106, 4: Argon2id with t=3, p=4 and 64 MiB, where memory is short."""
    hasher = _hasher()
    assert (hasher.time_cost, hasher.parallelism, hasher.memory_cost) == (3, 4, 64 * 1024)


def test_the_password_is_kept_as_an_argon2id_hash(made: Made, tmp_path: Path) -> None:
    """RFC 9106: the text names the variant, and holds salt and hash."""
    account = open_account(
        made.service.store, "B. Lund", PASSWORD, role=Role.OWNER, now=made.clock.now
    )
    assert re.match(r"\$argon2id\$v=19\$m=\d+,t=\d+,p=\d+\$[\w+/]+\$[\w+/]+$", account.secret)
    assert PASSWORD.encode() not in (tmp_path / "closein.db").read_bytes()
    assert PASSWORD not in repr(account)


@pytest.mark.parametrize("password", ["", "fourteen chars", "x" * 257])
def test_a_password_too_short_or_long_is_refused(made: Made, password: str) -> None:
    with pytest.raises(BadInput, match="want 15 to 256"):
        open_account(made.service.store, "B. Lund", password, role=Role.OWNER, now=made.clock.now)
    assert made.service.store.people.accounts() == ()


@pytest.mark.parametrize(("name", "password"), [("B. Lund", "wrong" * 4), ("Nobody", PASSWORD)])
def test_wrong_name_and_wrong_password_answer_alike(
    made: Made, client: TestClient, name: str, password: str
) -> None:
    sign_in(made, client)
    client.cookies.clear()
    answer = client.post("/login", data={"name": name, "password": password})
    assert answer.status_code == 403
    assert "Name and password do not belong together" in answer.text
    assert "set-cookie" not in answer.headers


def test_guessing_is_stopped_and_forgiven_later(made: Made, client: TestClient) -> None:
    sign_in(made, client)
    client.cookies.clear()
    for _ in range(TRIES):
        wrong = client.post("/login", data={"name": "B. Lund", "password": "no" * 9})
        assert wrong.status_code == 403
    right = {"name": "B. Lund", "password": PASSWORD}
    stopped = client.post("/login", data=right)
    assert (stopped.status_code, stopped.headers["retry-after"]) == (429, "900")
    made.clock.now += FORGIVEN + timedelta(seconds=1)
    assert client.post("/login", data=right).status_code == 303


def test_the_cookie_is_out_of_reach_of_scripts_and_other_sites(made: Made, tmp_path: Path) -> None:
    made.service = replace(made.service, page="https://closein.example.org")
    with client_of(made) as plain:
        secure = TestClient(plain.app, base_url="https://testserver", follow_redirects=False)
        open_account(made.service.store, "B. Lund", PASSWORD, role=Role.OWNER, now=made.clock.now)
        answer = secure.post("/login", data={"name": "B. Lund", "password": PASSWORD})
        told = answer.headers["set-cookie"].lower()
    assert told.startswith("__host-closein=")
    for word in ("httponly", "secure", "samesite=lax", "path=/"):
        assert word in told
    assert "domain=" not in told


def test_a_session_is_never_taken_over_from_a_cookie_that_was_planted(
    made: Made, client: TestClient
) -> None:
    """Session fixation: what stood in the cookie before signing in is worth nothing after."""
    client.cookies.set("closein", "planted-by-somebody-else")
    sign_in(made, client)
    kept = client.cookies.get("closein", domain="testserver.local")
    assert kept not in (None, "planted-by-somebody-else")
    other = client_of(made)
    other.cookies.set("closein", "planted-by-somebody-else")
    assert other.get(ROOT).status_code == 404


def test_signing_in_again_ends_the_session_before(made: Made, client: TestClient) -> None:
    sign_in(made, client)
    first = client.cookies["closein"]
    client.post("/login", data={"name": "B. Lund", "password": PASSWORD})
    assert client.cookies["closein"] != first
    other = client_of(made)
    other.cookies.set("closein", first)
    assert other.get(ROOT).status_code == 404


def test_a_session_ends_by_itself_and_with_its_account(made: Made, client: TestClient) -> None:
    sign_in(made, client)
    made.clock.now += LASTS
    assert client.get(ROOT).status_code == 404
    client.post("/login", data={"name": "B. Lund", "password": PASSWORD})
    assert client.get(ROOT).status_code in {200, 503}
    close_account(made.service.store, "B. Lund", now=made.clock.now)
    assert client.get(ROOT).status_code == 404
    again = client.post("/login", data={"name": "B. Lund", "password": PASSWORD})
    assert again.status_code == 403
    assert made.service.store.verify() == ()


def test_a_new_password_signs_everybody_of_that_name_out(made: Made, client: TestClient) -> None:
    sign_in(made, client)
    open_account(
        made.service.store, "B. Lund", PASSWORD + "!", role=Role.OWNER, now=made.clock.now
    )
    assert client.get(ROOT).status_code == 404


def test_the_store_keeps_no_session_token(made: Made, tmp_path: Path) -> None:
    open_account(made.service.store, "B. Lund", PASSWORD, role=Role.OWNER, now=made.clock.now)
    begun = begin(made.service.store, "B. Lund", PASSWORD, address="192.0.2.1", now=made.clock.now)
    assert begun is not None
    raw = (tmp_path / "closein.db").read_bytes()
    assert begun.token.encode() not in raw
    assert digest_of(begun.token).encode() in raw


@pytest.mark.parametrize(
    ("role", "reads", "logs", "owns"),
    [(Role.OWNER, 200, 200, 200), (Role.CREW, 200, 200, 404), (Role.READER, 200, 404, 404)],
)
def test_roles(
    made: Made, client: TestClient, role: Role, reads: int, logs: int, owns: int
) -> None:
    sign_in(made, client, role=role)
    assert client.get(ROOT).status_code == reads
    assert client.get(f"{ROOT}log").status_code == logs
    assert client.get(f"{ROOT}people").status_code == owns
    assert client.post(f"{ROOT}people", data={"who": "X"}).status_code in {400, 404}


def test_an_owner_gives_and_withdraws_a_link(made: Made, client: TestClient) -> None:
    sign_in(made, client)
    token = csrf_of(client, f"{ROOT}people")
    text = client.post(f"{ROOT}people", data={"who": "C. Moe", "csrf": token}).text
    given = re.search(r'value="(/p/[\w-]+/)"', text)
    assert given is not None
    reader = client_of(made)
    assert reader.get(given[1]).status_code == 200
    client.post(f"{ROOT}people", data={"withdraw": "C. Moe", "csrf": token})
    assert reader.get(given[1]).status_code == 404
    assert given[1].split("/")[2] not in client.get(f"{ROOT}people").text


def test_a_hold_is_released_by_a_named_account_that_may_and_nobody_else(tmp_path: Path) -> None:
    made = made_site(tmp_path)
    release = FORM | {"what": "release", "task": "lay", "role": "engineer"}
    with client_of(made) as client:
        path = f"{link(made, 'E. Berg', may_log=True)}log"
        by_link = client.post(
            path, data=release | {"csrf": csrf_of(client, path), "by": "E. Berg"}
        )
        assert by_link.status_code == 400
        assert "may not release" in by_link.text
        sign_in(made, client, "B. Lund", role=Role.OWNER)
        own = {"csrf": csrf_of(client, f"{ROOT}log"), "by": "B. Lund"}
        assert client.post(f"{ROOT}log", data=release | own).status_code == 400
        sign_in(made, client, "E. Berg", role=Role.READER, releases=("engineer",))
        own = {"csrf": csrf_of(client, f"{ROOT}log"), "by": "E. Berg"}
        other = client.post(f"{ROOT}log", data=release | own | {"role": "inspector"})
        assert other.status_code == 400
        assert client.post(f"{ROOT}log", data=FORM | own).status_code == 400  # may not log
        assert entries(made) == []
        done = client.post(f"{ROOT}log", data=release | own)
        assert done.status_code == 200, done.text
    (entry,) = made.service.store.entries(JOB)
    assert (entry.kind.value, entry.who, entry.payload["role"]) == (
        "release",
        "E. Berg",
        "engineer",
    )
