"""Whatever a mail server does, a message is accepted once or it is an alarm."""

from __future__ import annotations

import shutil
import subprocess
import threading
from collections.abc import Iterator
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, HTTPServer
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.smtp import AuthResult

from scheduler.interfaces.messages import Message, NewMessage, Step
from scheduler.interfaces.protocols import Store
from scheduler.mail.smtp import MailServer, Smtp
from scheduler.mail.webhook import Webhook
from scheduler.service.sending import BACK_OFF_MIN, send_due
from scheduler.store import open_store
from tests.service.mail_server import Behaviour, free_port, secured, serving

NOON = datetime(2026, 11, 10, 17, tzinfo=UTC)
MINUTE = timedelta(minutes=1)
RAW = b"From: a@example.org\r\nMessage-ID: <1@x>\r\nSubject: hours\r\n\r\nhello\r\n.dot\r\n"


@dataclass
class Hand:
    """A clock that is moved by hand."""

    now: datetime = NOON

    def __call__(self) -> datetime:
        return self.now


@dataclass
class Post:
    """A store, a server and a clock."""

    store: Store
    behaviour: Behaviour
    port: int
    clock: Hand = field(default_factory=Hand)

    def send(self, **how: Any) -> int:
        server = MailServer("127.0.0.1", self.port, "none", "closein@example.org", timeout_s=1.0)
        return send_due(self.store, {"mail": Smtp(server)}, clock=self.clock)

    @property
    def message(self) -> Message:
        (one,) = self.store.outbox.messages()
        return one


@pytest.fixture
def post(tmp_path: Path) -> Iterator[Post]:
    store, behaviour = open_store(str(tmp_path / "closein.db")), Behaviour()
    new = NewMessage("lift", "b@example.org", "morning", "2026-11-10", "mail", "<1@x>", RAW)
    store.outbox.queue([new], now=NOON, at=NOON)
    with serving(behaviour) as server:
        yield Post(store, behaviour, server.port)
    store.close()


def test_a_mail_arrives_whole_and_once(post: Post) -> None:
    assert post.send() == 1
    assert post.send() == 0
    assert post.behaviour.ids == ["<1@x>"]
    assert post.behaviour.took[0].get_content() == "hello\r\n.dot\r\n"
    assert (post.message.step, post.message.told) == (Step.SENT, "250 2.0.0 taken")
    assert post.store.outbox.alarms() == ()


def test_a_slow_server_is_waited_for(post: Post) -> None:
    post.behaviour.plan = ["slow"]
    post.send()
    assert post.message.step is Step.SENT


@pytest.mark.parametrize("fault", ["4xx at mail", "4xx at rcpt", "4xx after data", "drop at mail"])
def test_what_was_surely_not_taken_is_tried_again_with_the_same_id(post: Post, fault: str) -> None:
    post.behaviour.plan = [fault, fault, "accept"]
    for wait in (*BACK_OFF_MIN[:2], 0):
        post.send()
        assert post.send() == 0  # not before its time
        assert post.message.step is (Step.WAITING if wait else Step.SENT)
        post.clock.now += wait * MINUTE
    assert post.behaviour.ids == ["<1@x>"]
    assert post.message.tries == 3


@pytest.mark.parametrize("fault", ["5xx at rcpt", "5xx after data"])
def test_what_is_refused_for_good_is_an_alarm_and_not_tried_again(post: Post, fault: str) -> None:
    post.behaviour.plan = [fault, "accept"]
    post.send()
    post.clock.now += timedelta(days=1)
    assert post.send() == 0
    (alarm,) = post.store.outbox.alarms("lift")
    assert (alarm.step, alarm.told[:2]) == (Step.GIVEN_UP, "55")
    assert post.behaviour.took == []


@pytest.mark.parametrize(
    ("fault", "taken"), [("drop after data", 0), ("take and drop", 1), ("take and hang", 1)]
)
def test_where_no_answer_came_it_is_in_doubt_told_and_never_sent_again(
    post: Post, fault: str, taken: int
) -> None:
    post.behaviour.plan = [fault, "accept"]
    post.send()
    post.clock.now += timedelta(days=1)
    assert post.send() == 0
    (alarm,) = post.store.outbox.alarms("lift")
    assert alarm.step is Step.IN_DOUBT
    assert alarm.told.startswith("no answer after sending")
    assert len(post.behaviour.took) == taken


def test_an_outage_of_hours_ends_in_an_alarm(post: Post) -> None:
    post.port = free_port()  # nobody listens there
    tries = 0
    while post.message.step is Step.WAITING:
        tries += post.send()
        post.clock.now += timedelta(hours=2)
    assert tries == len(BACK_OFF_MIN) + 1
    (alarm,) = post.store.outbox.alarms("lift")
    assert alarm.step is Step.GIVEN_UP
    assert "refused" in alarm.told


def test_a_message_nobody_can_send_waits_and_says_why(post: Post) -> None:
    send_due(post.store, {}, clock=post.clock)
    assert (post.message.step, post.message.told) == (
        Step.WAITING,
        "no way to send mail is set",
    )


@pytest.fixture(scope="module")
def certificate(tmp_path_factory: pytest.TempPathFactory) -> tuple[str, str]:
    if shutil.which("openssl") is None:
        pytest.skip("openssl is not installed, no certificate can be made")
    folder = tmp_path_factory.mktemp("tls")
    paths = str(folder / "cert.pem"), str(folder / "key.pem")
    command = "openssl req -x509 -newkey rsa:2048 -nodes -days 2 -subj /CN=localhost"
    names = ["-addext", "subjectAltName=DNS:localhost,IP:127.0.0.1"]
    out = ["-out", paths[0], "-keyout", paths[1]]
    subprocess.run([*command.split(), *names, *out], check=True, capture_output=True)
    return paths


def login(server: object, session: object, envelope: object, mechanism: str, data: Any) -> Any:
    good = (data.login, data.password) == (b"closein", b"right horse")
    return AuthResult(success=good, handled=False)


@pytest.mark.parametrize(
    ("password", "step"), [("right horse", Step.SENT), ("wrong horse", Step.WAITING)]
)
@pytest.mark.parametrize("security", ["starttls", "tls"])
@pytest.mark.filterwarnings("ignore:Requiring AUTH while not requiring TLS:UserWarning")
def test_login_goes_over_tls_and_the_password_is_told_nowhere(
    tmp_path: Path,
    certificate: tuple[str, str],
    security: str,
    password: str,
    step: Step,
    caplog: pytest.LogCaptureFixture,
) -> None:
    caplog.set_level("DEBUG")
    path = tmp_path / "closein.db"
    store, behaviour, context = open_store(str(path)), Behaviour(), secured(*certificate)
    new = NewMessage("lift", "b@example.org", "morning", "2026-11-10", "mail", "<1@x>", RAW)
    store.outbox.queue([new], now=NOON, at=NOON)
    how: dict[str, Any] = {"authenticator": login, "auth_required": True}
    if security == "tls":
        how |= {"ssl_context": context, "auth_require_tls": False}
    else:
        how |= {"tls_context": context, "require_starttls": True}
    with serving(behaviour, **how) as server:
        where = MailServer(
            "127.0.0.1", server.port, security, "closein@example.org", "closein", password,
            authority=certificate[0], timeout_s=5.0,
        )  # fmt: skip
        send_due(store, {"mail": Smtp(where)}, clock=Hand())
        assert (Smtp(where).check() == "") is (step is Step.SENT)
    (message,) = store.outbox.messages()
    assert message.step is step, message.told
    store.close()
    assert password not in caplog.text + repr(where) + message.told
    assert password.encode() not in path.read_bytes()


def test_where_tls_is_asked_nothing_leaves_in_clear(post: Post) -> None:
    server = MailServer("127.0.0.1", post.port, "starttls", "c@example.org", "u", "p")
    send_due(post.store, {"mail": Smtp(server)}, clock=post.clock)
    assert post.message.step is Step.WAITING
    assert "STARTTLS" in post.message.told
    assert post.behaviour.seen == []


@pytest.mark.parametrize(
    ("status", "step"),
    [
        (200, Step.SENT),
        (404, Step.GIVEN_UP),
        (429, Step.WAITING),
        (500, Step.IN_DOUBT),
        (302, Step.GIVEN_UP),
    ],
)
def test_a_webhook_takes_one_text_or_it_is_an_alarm(post: Post, status: int, step: Step) -> None:
    bodies: list[bytes] = []

    class Hook(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            bodies.append(self.rfile.read(int(self.headers["Content-Length"])))
            self.send_response(status)
            self.send_header("Location", "http://127.0.0.1:9/")
            self.end_headers()

        def log_message(self, *_: object) -> None:
            pass

    text = NewMessage(
        "lift", "+1 315 555 0142", "morning", "2026-11-10", "text", "<2@x>", b"Tue: 2 go"
    )
    post.store.outbox.queue([text], now=NOON, at=NOON)
    with HTTPServer(("127.0.0.1", 0), Hook) as server:
        threading.Thread(target=server.serve_forever, daemon=True).start()
        hook = Webhook(f"http://127.0.0.1:{server.server_port}/secret")
        send_due(post.store, {"text": hook}, clock=post.clock)
        server.shutdown()
    message = post.store.outbox.messages()[1]
    assert message.step is step
    assert bodies == [b'{"to": "+1 315 555 0142", "text": "Tue: 2 go", "id": "<2@x>"}']
    assert "secret" not in message.told


def test_a_webhook_that_cannot_be_reached_is_tried_again(post: Post) -> None:
    text = NewMessage("lift", "+1", "morning", "2026-11-10", "text", "<2@x>", b"Tue: 2 go")
    post.store.outbox.queue([text], now=NOON, at=NOON)
    hook = Webhook(f"http://127.0.0.1:{free_port()}/secret")
    send_due(post.store, {"text": hook}, clock=post.clock)
    message = post.store.outbox.messages()[1]
    assert (message.step, message.told) == (Step.WAITING, "the webhook cannot be reached")
