"""The pages: what was kept, behind a link, and nothing else."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from rules.errors import BadInput
from scheduler.interfaces.messages import NewMessage
from scheduler.runs.desk import Desk
from scheduler.service.links import digest_of, withdraw
from scheduler.service.rounds import round_of
from scheduler.web.job_pages import PAGES
from tests.service.made_job import Made, made_job, made_service, utc
from tests.web.made_site import BAD, JOB, MORNING, client_of, link

OWN = (
    "default-src 'none'; img-src 'self'; style-src 'self'; script-src 'self'; "
    "connect-src 'self'; worker-src 'self'; form-action 'self'; "
    "base-uri 'none'; frame-ancestors 'none'"
)


@pytest.mark.parametrize("page", [*PAGES, "bars.svg"])
def test_each_page_is_there_for_who_has_a_link(made: Made, client: TestClient, page: str) -> None:
    answer = client.get(f"{link(made, may_log=True)}{page}")
    assert answer.status_code == 200
    assert answer.text
    assert BAD not in answer.text
    if not page.endswith("svg"):
        assert "engineer of record" in answer.text
    if not page.endswith("svg") and page != "tomorrow":
        assert "0 h ago" in answer.text


def test_every_answer_forbids_other_scripts_frames_and_keeping(
    made: Made, client: TestClient
) -> None:
    root = link(made)
    paths = (root, f"{root}plan", f"{root}tomorrow", f"{root}bars.svg", "/p/forged/", "/nowhere")
    for path in (*paths, "/login", "/v1/jobs", "/files/page.js"):
        told = client.get(path).headers
        policy = told["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "unsafe-inline" not in policy
        assert "frame-ancestors 'none'" in policy or path.startswith("/files")
        assert told["cache-control"] == "private, no-store" or path.startswith("/files")
        assert told["referrer-policy"] == "same-origin"
        assert told["x-content-type-options"] == "nosniff"


@pytest.mark.parametrize("page", [name for name in PAGES if name != "tomorrow"])
def test_a_page_brings_no_style_or_script_of_its_own(
    made: Made, client: TestClient, page: str
) -> None:
    answer = client.get(f"{link(made, may_log=True)}{page}")
    assert answer.headers["content-security-policy"] == OWN
    assert "<style" not in answer.text
    assert not re.search(r"\sstyle=|\son[a-z]+=|javascript:", answer.text)
    assert re.findall(r"<script[^>]*>", answer.text) == ['<script src="/files/page.js" defer>']


def test_the_sheet_s_policy_lets_through_its_own_style_alone(
    made: Made, client: TestClient
) -> None:
    answer = client.get(f"{link(made)}tomorrow")
    styles = re.findall(r"<style>(.*?)</style>", answer.text, re.DOTALL)
    assert len(styles) == answer.headers["content-security-policy"].count("sha256-") == 1


def test_a_forged_a_withdrawn_and_a_missing_page_answer_alike(
    made: Made, client: TestClient
) -> None:
    root = link(made)
    assert withdraw(made.service.store, JOB, "A. Ryd", now=MORNING) == 1
    answers = [
        client.get(path)
        for path in (root, "/p/forged/", "/p/forged/plan", "/p/x/nothing", "/etc/passwd")
    ]
    assert {(one.status_code, one.text) for one in answers} == {(404, "not here\n")}


def test_the_store_keeps_no_token(made: Made, tmp_path: Path) -> None:
    token = link(made).split("/")[2]
    assert [one.digest for one in made.service.store.people.links(JOB)] == [digest_of(token)]
    assert token.encode() not in (tmp_path / "closein.db").read_bytes()
    assert made.service.store.verify() == ()


@pytest.mark.parametrize("method", ["post", "put", "delete", "patch"])
def test_nothing_can_be_written_on_a_page_that_is_read(
    made: Made, client: TestClient, method: str
) -> None:
    answer = getattr(client, method)(link(made))
    assert answer.status_code in {404, 405}


def test_an_old_page_says_go_nowhere(made: Made, client: TestClient) -> None:
    """Neither the calls nor the subject line say go once forecast or morning is too old."""
    root = link(made)
    fresh = client.get(root).text
    assert re.search(r'class="call">go', fresh)
    made.clock.now = MORNING + timedelta(hours=30)
    old = client.get(root).text
    assert "30 h ago: OLD. Nothing here says go." in old
    calls = re.findall(r'class="call">([^<]*)<', old)
    assert calls
    assert set(calls) == {"not known"}
    assert "It was: go" in old
    assert "What follows is old" in old
    assert client.get(f"{root}tomorrow").status_code == 503


def test_a_page_is_old_when_its_forecast_is(made: Made, client: TestClient) -> None:
    """The made forecast is good for 12 h from 10:00 UTC; at 22:00 the page is 11.5 h old."""
    root = link(made)
    made.clock.now = MORNING + timedelta(hours=11, minutes=29)
    assert "OLD" not in client.get(root).text
    made.clock.now = MORNING + timedelta(hours=11, minutes=30)
    assert "OLD" in client.get(root).text


def test_a_call_whose_hours_are_over_says_go_no_more(made: Made, client: TestClient) -> None:
    root = link(made)
    ends = re.findall(r'data-ends="([^"]+)"', client.get(root).text)
    assert ends
    made.clock.now = MORNING + timedelta(hours=11)  # 16:30 on site, the shift ended at 16:00
    text = client.get(root).text
    assert "its hours are over" in text


def test_a_request_plans_nothing(
    made: Made, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    def never(*_: object, **__: object) -> None:
        raise AssertionError("a page planned")

    monkeypatch.setattr("scheduler.planning.plan_job.solve", never)
    monkeypatch.setattr("scheduler.runs.brief.today_of", never)
    root = link(made, may_log=True)
    for page in PAGES:
        assert client.get(f"{root}{page}").status_code == 200


def test_who_opened_the_calls_is_written_down_once(made: Made, client: TestClient) -> None:
    root = link(made)
    for _ in range(3):
        client.get(root)
    store = made.service.store
    found = store.last_decision(JOB, "page")
    assert found is not None
    assert [(one.decision, one.who) for one in store.people.who_saw(JOB)] == [(found[0], "A. Ryd")]
    assert store.verify() == ()


def test_the_week_has_a_cell_for_each_hour_and_the_reason_in_words(
    made: Made, client: TestClient
) -> None:
    text = client.get(f"{link(made)}week").text
    strips = re.findall(r'<span class="strip"[^>]*>(.*?)</span>', text, re.DOTALL)
    assert strips
    assert {strip.count("<b ") for strip in strips} == {24}
    assert re.search(r"\d\d:00–\d\d:00 go", text)


def test_short_texts_stand_ready_to_be_copied_while_they_hold(
    made: Made, client: TestClient
) -> None:
    root = link(made)
    assert re.search(r"<textarea readonly[^>]*>Mon: ", client.get(root).text)
    made.clock.now = MORNING + timedelta(hours=30)
    assert "<textarea" not in client.get(root).text


def test_a_message_that_may_not_have_arrived_is_an_alarm_on_every_page(
    made: Made, client: TestClient
) -> None:
    root = link(made, may_log=True)
    outbox, now = made.service.store.outbox, made.clock.now
    new = NewMessage(JOB, "b@example.org", "morning", "2026-11-10", "mail", "<x@y>", b"m")
    outbox.queue([new], now=now, at=now)
    message = outbox.claim(now=now, until=now)
    assert message is not None
    assert outbox.begin(message, now=now, until=now)
    assert outbox.doubt(now=now + timedelta(hours=1))
    for page in ("", "plan", "log"):
        text = client.get(f"{root}{page}").text
        assert "may not have arrived and was not sent again" in text
    assert "may not have arrived" not in client.get(link(made, "C. Moe")).text  # who only reads


def test_health_is_open(client: TestClient) -> None:
    assert client.get("/health").status_code == 200


def test_a_job_without_a_morning_says_so(made: Made, client: TestClient) -> None:
    """What an older Closein kept is not shown half: a page of another make is none."""
    store = made.service.store
    last = store.decisions(JOB, kind="page", last=1)[0]
    store.keep_decision(
        JOB, "page", b'{"name": "x", "today": "<p>go</p>"}', last.inputs, at=MORNING,
        entered_at=MORNING,
    )  # fmt: skip
    answer = client.get(link(made))
    assert answer.status_code == 503
    assert "<title>Not to be had now</title>" in answer.text
    assert "No morning was made yet. Mornings are made at 05:30 on site." in answer.text
    assert answer.headers["retry-after"] == "30"


def test_a_morning_that_broke_says_why_there_is_nothing_to_see(tmp_path: Path) -> None:
    """In the site's own look, on every page of the job; never a bare line of text."""
    job = made_job(tmp_path)
    made = made_service(tmp_path / "closein.db", job, utc(2026, 11, 9, 3))

    def broken(*_: object) -> Desk:
        raise BadInput("climate.csv: no such <file>")

    made.service = replace(made.service, desk=broken)
    made.clock.now = MORNING
    job.write_text("closein: 1\n")
    round_of(made.service)
    client, root = client_of(made), link(made, may_log=True)
    for name in PAGES:
        answer = client.get(f"{root}{name}")
        assert answer.status_code == 503
        assert "The job file cannot be read" in answer.text
    made_job(tmp_path)
    round_of(made.service)
    for name in PAGES:
        text = client.get(f"{root}{name}").text
        assert "The morning of 2026-11-09 was not made: climate.csv: no such &lt;file&gt;" in text
        assert f'<a href="{root}">' in text


def test_a_store_that_cannot_be_read_is_told_as_a_page(made: Made, client: TestClient) -> None:
    root = link(made)
    store = made.service.store
    Path(str(store.name)).write_bytes(b"no database any more" * 400)
    client.cookies.set("closein", "x")
    for path in (root, f"{root}week", f"/j/{JOB}/", "/jobs"):
        answer = client.get(path)
        assert answer.status_code == 503
        assert "<h1>Not to be had now</h1>" in answer.text
    told = client.get(f"/v1/jobs/{JOB}/today", headers={"Authorization": "Bearer x"})
    assert told.status_code == 503
    assert "is not a store of Closein" in told.json()["wrong"][0]


@pytest.mark.parametrize(("air_c", "renewed"), [(12.0, False), (-20.0, True)])
def test_a_look_renews_the_pages_when_a_call_changes_and_not_with_every_forecast(
    made: Made, client: TestClient, air_c: float, renewed: bool
) -> None:
    """Pages that say the same are kept again after three hours, so a season fills no disk."""
    root, store = link(made), made.service.store
    first = store.last_decision(JOB, "page")
    made.air_c = air_c
    made.clock.now = MORNING + timedelta(hours=1, minutes=35)
    round_of(made.service)
    assert len(store.forecasts_until(JOB, made.clock.now)) > 1
    assert (store.last_decision(JOB, "page") != first) is renewed
    assert ('class="call">go<' in client.get(root).text) is not renewed


def test_a_job_just_taken_in_has_its_pages_before_its_first_morning(tmp_path: Path) -> None:
    made = made_service(tmp_path / "closein.db", made_job(tmp_path), MORNING + timedelta(hours=2))
    round_of(made.service)
    assert made.post.took == []  # nobody was told anything, and no message is due
    with client_of(made) as client:
        text = client.get(link(made)).text
    assert re.search(r'class="call">go', text)
    assert made.service.store.verify() == ()
