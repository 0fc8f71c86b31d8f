"""The pages: what was kept, behind a link, and nothing else."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from scheduler.service.links import digest_of, give, links, withdraw
from scheduler.service.rounds import round_of
from scheduler.startup_service import pages
from tests.service.made_job import Made, made_job, made_service, utc

MORNING = utc(2026, 11, 9, 10, 30)
BAD = "<script>alert(1)</script>"
JOB = "north-end-lift"


@pytest.fixture
def made(tmp_path: Path) -> Made:
    job = made_job(tmp_path, task=f"'{BAD}'")
    service = made_service(tmp_path / "closein.db", job, utc(2026, 11, 9, 3))
    service.clock.now = MORNING
    round_of(service.service)
    return service


@pytest.fixture
def client(made: Made) -> Iterator[TestClient]:
    with TestClient(pages(made.service)) as one:
        yield one


def own(made: Made, who: str = "A. Ryd") -> str:
    (job,) = made.service.store.jobs()
    return give(made.service.store, job, who, now=MORNING)


@pytest.mark.parametrize("page", ["", "plan", "close-in", "rules", "bars.svg"])
def test_each_page_is_there_for_who_has_a_link(made: Made, client: TestClient, page: str) -> None:
    answer = client.get(f"/p/{own(made)}/{page}")
    assert answer.status_code == 200
    assert answer.text
    assert BAD not in answer.text
    if not page.endswith("svg"):
        assert "0 h ago" in answer.text
        assert "engineer of record" in answer.text


def test_every_answer_forbids_scripts_frames_and_keeping(made: Made, client: TestClient) -> None:
    for path in (f"/p/{own(made)}/", f"/p/{own(made)}/plan", "/p/forged/", "/nowhere"):
        told = client.get(path).headers
        policy = told["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "script-src" not in policy  # so default-src stands: none
        assert "unsafe-inline" not in policy
        assert "frame-ancestors 'none'" in policy
        assert told["cache-control"] == "private, no-store"
        assert told["referrer-policy"] == "no-referrer"


def test_the_policy_lets_through_the_page_s_own_style_and_no_other(
    made: Made, client: TestClient
) -> None:
    answer = client.get(f"/p/{own(made)}/")
    styles = re.findall(r"<style>(.*?)</style>", answer.text, re.DOTALL)
    assert len(styles) == answer.headers["content-security-policy"].count("sha256-") == 1
    assert " style=" not in answer.text


def test_a_forged_a_withdrawn_and_a_missing_page_answer_alike(
    made: Made, client: TestClient
) -> None:
    token, store = own(made), made.service.store
    (job,) = store.jobs()
    assert withdraw(store, job, "A. Ryd", now=MORNING) == 1
    answers = [
        client.get(path)
        for path in (f"/p/{token}/", "/p/forged/", "/p/forged/plan", "/p/x/nothing", "/etc/passwd")
    ]
    assert {(one.status_code, one.text) for one in answers} == {(404, "not here\n")}


def test_the_store_keeps_no_token(made: Made, tmp_path: Path) -> None:
    token = own(made)
    (job,) = made.service.store.jobs()
    assert [link.digest for link in links(made.service.store, job).values()] == [digest_of(token)]
    assert token.encode() not in (tmp_path / "closein.db").read_bytes()
    assert made.service.store.verify() == ()


@pytest.mark.parametrize(
    "path", ["../../etc/passwd", "%2e%2e/%2e%2e/x", "bars.svg/../../..", "a%00b"]
)
def test_no_path_leads_out(made: Made, client: TestClient, path: str) -> None:
    assert client.get(f"/p/{own(made)}/{path}").status_code in {400, 404}


@pytest.mark.parametrize("method", ["post", "put", "delete", "patch"])
def test_nothing_can_be_written(made: Made, client: TestClient, method: str) -> None:
    before = len(made.service.store.decisions(made.service.store.jobs()[0]))
    token = own(made)
    answer = getattr(client, method)(f"/p/{token}/")
    assert answer.status_code in {404, 405}
    assert (
        len(made.service.store.decisions(made.service.store.jobs()[0])) == before + 1
    )  # the link


def test_an_old_morning_says_so(made: Made, client: TestClient) -> None:
    token = own(made)
    made.clock.now = MORNING + timedelta(hours=30)
    text = client.get(f"/p/{token}/").text
    assert "30 h ago: OLD. Nothing here says go today." in text


def test_a_request_plans_nothing(
    made: Made, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("a page planned")

    monkeypatch.setattr("scheduler.planning.plan_job.solve", never)
    monkeypatch.setattr("scheduler.runs.brief.today_of", never)
    assert client.get(f"/p/{own(made)}/").status_code == 200


def test_health_is_open(client: TestClient) -> None:
    assert client.get("/health").status_code == 200
