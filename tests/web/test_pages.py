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


def own(made: Made, who: str = "A. Ryd", *, may_log: bool = False) -> str:
    (job,) = made.service.store.jobs()
    return give(made.service.store, job, who, now=MORNING, may_log=may_log)


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


FORM = {"what": "lost", "hours": "4", "cause": "rain", "key": "k" * 24}


def entries(made: Made) -> list[tuple[str, str, float | None]]:
    (job,) = made.service.store.jobs()
    return [(e.kind.value, e.who, e.hours) for e in made.service.store.entries(job)]


def test_who_may_log_writes_once_whatever_the_thumb_does(made: Made, client: TestClient) -> None:
    path = f"/p/{own(made, may_log=True)}/log"
    assert "Hours lost" in client.get(path).text
    first, second = client.post(path, data=FORM), client.post(path, data=FORM)
    assert (first.status_code, second.status_code) == (200, 200)
    assert "written down as 1" in first.text
    assert "written down already" in second.text
    assert entries(made) == [("lost", "A. Ryd", 4.0)]
    assert made.service.store.verify() == ()


def test_every_form_of_the_page_is_taken_as_it_stands(made: Made, client: TestClient) -> None:
    """Each form as a browser would send it: its own hidden fields, one value for each field."""
    path = f"/p/{own(made, may_log=True)}/log"
    filled = {"hours": "2.5", "value": "41", "place": "north", "text": "a note", "cause": "wind"}
    forms = re.findall(r"<form.*?</form>", client.get(path).text, re.DOTALL)
    for form in forms:
        fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form))
        for name in re.findall(r'<input name="(\w+)"', form):
            fields[name] = filled[name]
        fields |= re.findall(r'<select name="(\w+)"><option value="([^"]*)"', form)
        made.clock.now += timedelta(hours=1)  # what is started now is not finished now
        answer = client.post(path, data=fields)
        assert answer.status_code == 200, (fields, answer.text)
    assert len(entries(made)) == len(forms) == 5


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"hours": "many"}, "want a number such as 4.5"),
        ({"hours": "-3"}, "hours"),
        ({"what": "rob"}, "nothing to write down"),
        ({"key": ""}, "load the page again"),
        ({"what": "started", "task": "../x"}, "task"),
        ({"what": "reading", "quantity": BAD, "value": "4", "unit": "degF"}, "quantity"),
    ],
)
def test_what_cannot_be_is_told_as_text_and_nothing_is_written(
    made: Made, client: TestClient, change: dict[str, str], said: str
) -> None:
    answer = client.post(f"/p/{own(made, may_log=True)}/log", data=FORM | change)
    assert answer.status_code == 400
    assert said in answer.text
    assert BAD not in answer.text
    assert entries(made) == []


def test_who_may_only_read_is_told_nothing_of_the_log(made: Made, client: TestClient) -> None:
    path = f"/p/{own(made)}/log"
    assert client.get(path).status_code == client.post(path, data=FORM).status_code == 404
    assert entries(made) == []


@pytest.mark.parametrize(
    ("headers", "content"),
    [
        ({"origin": "https://evil.example"}, None),
        ({"content-type": "text/plain"}, b"what=lost"),
        ({"content-type": "application/x-www-form-urlencoded"}, b"text=" + b"a" * 5000),
        ({"content-type": "application/x-www-form-urlencoded"}, b"a&" * 50),
        ({"content-type": "application/x-www-form-urlencoded"}, b"text=\xff\xfe"),
    ],
)
def test_forms_of_other_sites_too_long_or_none_are_not_taken(
    made: Made, client: TestClient, headers: dict[str, str], content: bytes | None
) -> None:
    path = f"/p/{own(made, may_log=True)}/log"
    sent = {"data": FORM} if content is None else {"content": content}
    assert client.post(path, headers=headers, **sent).status_code == 400  # type: ignore[arg-type]
    assert entries(made) == []


def test_a_note_with_html_and_line_breaks_stays_one_text(made: Made, client: TestClient) -> None:
    note = {"what": "note", "text": f"{BAD}\r\nBcc: x@example.org", "key": "n" * 24}
    answer = client.post(f"/p/{own(made, may_log=True)}/log", data=note)
    assert BAD not in answer.text
    assert "set-cookie" not in answer.headers
    assert len(entries(made)) <= 1
