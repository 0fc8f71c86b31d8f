"""Each person's cut of a morning and an evening: what it says, how large, without pictures."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from email import message_from_bytes, policy
from email.message import EmailMessage

import pytest
from icalendar import Calendar

from rules.brought import hurt
from rules.words import words
from scheduler.output.calendar_feed import told_text
from scheduler.output.letter import LARGEST, File, Letter, Picture, letter_bytes, one_line
from scheduler.planning.model.job import Recipient
from scheduler.planning.model.log import Entry, EntryKind
from scheduler.runs.brief import brief
from scheduler.service.cuts import SHORTEST, Said, cut, feed_of, short_line, texts
from scheduler.startup import demo_desk
from tests.service.made_job import utc

AT = utc(2026, 11, 9, 11)
WHOLE = Recipient("b@example.org")
MASONS = Recipient("m@example.org", gets="crew", crew="masons")
LIFTER = Recipient("l@example.org", gets="crew", crew="lifter")
OWNER = Recipient("o@example.org", gets="owner")
INSPECTOR = Recipient("i@example.org", gets="inspector")


@pytest.fixture(scope="module")
def said() -> Iterator[Said]:
    with demo_desk() as desk:
        note = Entry(0, desk.now, desk.now, EntryKind.NOTE, text="ground thawed", who="Ada")
        desk.store.append(desk.job.id, [note], entered_at=desk.now)
        yield Said(brief(desk), desk.job, False, ())


def evening(said: Said) -> Said:
    return replace(said, evening=True)


def sent(letter: Letter | None, to: Recipient = WHOLE) -> tuple[EmailMessage, bytes]:
    assert letter is not None
    raw = letter_bytes(
        letter, sender="c@example.org", recipient=to.address, message_id="<1@x>", at=AT
    )
    return message_from_bytes(raw, policy=policy.default), raw  # type: ignore[return-value]


def test_the_whole_morning_is_under_100_kB_with_its_picture_inside(said: Said) -> None:
    mail, raw = sent(cut(said, WHOLE))
    assert len(raw) < LARGEST
    assert re.fullmatch(
        r"Mon: 1 go, 1 with protection until Tue 16:00, 1 not known; "
        r"close in by \d+ Dec, margin \d+ days",
        mail["Subject"],
    )
    kinds = [part.get_content_type() for part in mail.walk() if not part.is_multipart()]
    assert kinds == [
        "text/plain", "text/html", "image/png", "image/png", "text/calendar",
    ]  # fmt: skip
    html = mail.get_body(("html",)).get_content()  # type: ignore[union-attr]
    images = [part for part in mail.walk() if part.get_content_type() == "image/png"]
    assert [image["Content-ID"] for image in images] == ["<plan>", "<risk>"]
    assert all(f'src="cid:{image["Content-ID"].strip("<>")}"' in html for image in images)
    assert max(len(line) for line in raw.split(b"\r\n")) <= 998  # RFC 5322, 2.1.1
    assert raw.isascii()


def test_with_images_off_the_letter_still_says_it_all(said: Said) -> None:
    mail, _ = sent(cut(said, WHOLE))
    html = mail.get_body(("html",)).get_content()  # type: ignore[union-attr]
    for image in re.findall(r"<img[^>]*>", html):
        assert re.search(r'alt="[^"]{20,}"', image)
    words = re.sub(r"<style>.*?</style>|<[^>]*>", " ", html, flags=re.DOTALL)
    for wanted in ("Latest safe close-in", "go with protection", "Lay three courses", "Margin"):
        assert wanted in words
    assert not re.search(r'(src|href)="https?:', html), "nothing is fetched from outside"


def test_a_picture_that_cannot_be_drawn_does_not_stop_the_morning(
    said: Said, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    def fails(*_: object, **__: object) -> bytes:
        raise RuntimeError("no font")

    monkeypatch.setattr("scheduler.service.cuts.plan_chart", fails)
    mail, _ = sent(cut(said, WHOLE))
    images = [part for part in mail.walk() if part.get_content_type() == "image/png"]
    assert [image["Content-ID"] for image in images] == ["<risk>"]
    assert "picture not drawn" in caplog.text


def test_a_picture_too_large_is_left_out_and_said_so() -> None:
    html = '<p><img src="cid:risk" alt="Risk by day"></p>'
    letter = Letter("x", "text", html, (Picture("risk", "Risk by day", b"x" * LARGEST),))
    mail, raw = sent(letter)
    assert len(raw) < LARGEST
    told = mail.get_body(("html",)).get_content()  # type: ignore[union-attr]
    assert "picture too large for this message" in told
    assert "cid:" not in told


def test_the_same_letter_is_the_same_bytes(said: Said) -> None:
    letter = cut(said, WHOLE)
    assert sent(letter)[1] == sent(letter)[1]


def test_a_file_comes_with_its_kind() -> None:
    letter = Letter("x", "text", "<p>x</p>", files=(File("plan.ics", "text/calendar", b"BEGIN"),))
    mail, _ = sent(letter)
    (file,) = mail.iter_attachments()
    assert (file.get_filename(), file.get_content_type()) == ("plan.ics", "text/calendar")


def test_a_crew_gets_its_own_lines_and_nothing_of_the_money(said: Said) -> None:
    mail, _ = sent(cut(evening(said), MASONS), MASONS)
    text = mail.get_body(("plain",)).get_content()  # type: ignore[union-attr]
    assert mail["Subject"] == "Tomorrow Tue 10 Nov: Lay three courses: go with protection"
    assert "Block crew | Lay three courses" in text
    assert "Cautions" in text
    assert "Local codes, the engineer of record" in text
    assert "$" not in text
    assert cut(evening(said), LIFTER) is None  # nothing of theirs tomorrow


def test_a_crews_calendar_numbers_its_events_as_the_whole_one_does(said: Said) -> None:
    def events(to: Recipient, asked: Said) -> dict[str, int]:
        mail, _ = sent(cut(asked, to), to)
        (file,) = mail.iter_attachments()
        assert (file.get_filename(), file.get_content_type()) == ("plan.ics", "text/calendar")
        found = Calendar.from_ical(file.get_content()).walk("VEVENT")
        return {str(event["uid"]): int(event["sequence"]) for event in found}

    first, told = feed_of(said, "{}")
    again = {uid: replace(one, sequence=4) for uid, one in told.items()}
    later = replace(said, calendar=told_text(again))
    whole, masons = events(WHOLE, later), events(MASONS, later)
    assert set(masons) < set(whole)
    assert set(whole.values()) == set(masons.values()) == {4}
    assert first.count(b"BEGIN:VEVENT") == len(whole)


def test_the_owner_gets_a_range_and_why_on_mondays(said: Said) -> None:
    mail, _ = sent(cut(said, OWNER), OWNER)
    text = mail.get_body(("plain",)).get_content()  # type: ignore[union-attr]
    assert "close-in " in mail["Subject"]
    assert "latest safe " in mail["Subject"]
    assert "Chance of closing in" in text
    assert "stay out unless someone takes you round" in text
    assert cut(evening(said), OWNER) is None


def test_the_inspector_gets_records_in_the_evening(said: Said) -> None:
    assert cut(said, INSPECTOR) is None
    mail, _ = sent(cut(evening(said), INSPECTOR), INSPECTOR)
    text = mail.get_body(("plain",)).get_content()  # type: ignore[union-attr]
    assert mail["Subject"] == "Records of Mon 9 Nov: Heron Ferry, north house"
    assert "ground thawed" in text


@pytest.mark.parametrize("to", [WHOLE, MASONS, OWNER], ids=lambda to: to.gets)
def test_a_short_text_is_one_line(said: Said, to: Recipient) -> None:
    noted = replace(said, notes=("Late: due Mon 9 Nov 05:30",))
    line = short_line(noted, replace(to, short=True))
    assert len(line) <= SHORTEST
    assert "\n" not in line
    assert "Late" in line


def test_a_short_text_says_what_can_hurt_and_never_cuts_it_off(said: Said) -> None:
    long = replace(said, notes=("Alarm: " + "x" * 400,))
    for to in (WHOLE, MASONS):
        line = short_line(long, replace(to, short=True))
        assert len(line) <= SHORTEST
        assert re.search(r"… Beware: .+\.$", line)
    assert "fresh wall in wind" in short_line(said, MASONS)
    assert "people under or near a raised house" in short_line(said, WHOLE)


def test_every_caution_named_is_one_of_the_book() -> None:
    assert set(hurt()) <= set(words().cautions)


def test_texts_to_copy_are_one_line_a_reader(said: Said) -> None:
    found = dict(texts(said))
    assert list(found) == ["everyone", "Block crew", "Carpenters", "owner"]
    assert found["Block crew"].startswith("Mon 9 Nov Lay three courses: go with protection 07:00")
    assert all(0 < len(line) <= SHORTEST and "\n" not in line for line in found.values())


def test_notes_stand_first_in_every_cut(said: Said) -> None:
    noted = replace(said, notes=("Alarm: the morning message may not have arrived",))
    for to in (WHOLE, MASONS, OWNER):
        mail, _ = sent(cut(noted, to), to)
        text = mail.get_body(("plain",)).get_content()  # type: ignore[union-attr]
        assert text.index("Alarm:") < 250


@pytest.mark.parametrize("nasty", ["a\r\nBcc: x@y.z", "a\nb", "a\x00b", "a\u2028b", "\x1b[31mred"])
def test_a_subject_is_one_line_whatever_it_is_made_of(nasty: str) -> None:
    mail, raw = sent(Letter(nasty, "text"))
    assert mail["Bcc"] is None
    assert b"\r\nBcc" not in raw
    assert one_line(nasty).isprintable()
