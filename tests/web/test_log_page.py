"""The log page: each entry once, by who may, with a photo; and the plan follows."""

from __future__ import annotations

import io
import re
import subprocess
import sys
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from datetime import timedelta
from pathlib import Path

import pytest
from PIL import Image
from starlette.testclient import TestClient

from scheduler.service.breaking import TRIES
from scheduler.service.photos import made_small
from tests.faults.disks import full_disk
from tests.service.made_job import Made
from tests.web.made_site import (
    BAD,
    FORM,
    JOB,
    csrf_of,
    entries,
    link,
    replanned,
    sign_in,
)


def own(made: Made, client: TestClient) -> tuple[str, dict[str, str]]:
    path = f"{link(made, may_log=True)}log"
    return path, {**FORM, "csrf": csrf_of(client, path)}


def picture(kind: str = "JPEG", size: tuple[int, int] = (640, 480)) -> bytes:
    out = io.BytesIO()
    Image.new("RGB", size, "grey").save(out, kind)
    return out.getvalue()


def test_who_may_log_writes_once_whatever_the_thumb_does(made: Made, client: TestClient) -> None:
    path, form = own(made, client)
    assert "Hours lost" in client.get(path).text
    first, second = client.post(path, data=form), client.post(path, data=form)
    assert (first.status_code, second.status_code) == (200, 200)
    assert "written down as 1" in first.text
    assert "written down already" in second.text
    assert entries(made) == [("lost", "A. Ryd", 4.0)]
    assert made.service.store.verify() == ()


def test_a_form_that_says_a_field_twice_is_refused(made: Made, client: TestClient) -> None:
    path, form = own(made, client)
    assert client.post(path, data={**form, "hours": ["4", "6"]}).status_code == 400
    assert entries(made) == []


def test_every_form_of_the_page_is_taken_as_it_stands(made: Made, client: TestClient) -> None:
    """Each form as a browser would send it: its own hidden fields, one value for each field."""
    path, _ = own(made, client)
    filled = {"hours": "2.5", "value": "41", "place": "north", "text": "a note", "cause": "wind"}
    forms = re.findall(
        r'<form method="post" action="[^"]*log".*?</form>', client.get(path).text, re.DOTALL
    )
    for form in forms:
        fields = dict(re.findall(r'<input type="hidden" name="(\w+)" value="([^"]*)"', form))
        for name in re.findall(r'<input name="(\w+)"', form):
            fields[name] = filled[name]
        fields |= re.findall(r'<input type="radio" name="(\w+)" value="([^"]*)" checked', form)
        fields |= re.findall(r'<select name="(\w+)"><option value="([^"]*)"', form)
        fields |= dict.fromkeys(re.findall(r'<select name="(\w+)"><option>', form), "rain")
        made.clock.now += timedelta(minutes=5)  # what is started now is not finished now
        sent = {name: (None, value) for name, value in fields.items()}
        answer = client.post(path, files=sent)
        if fields["what"] == "hours_left":  # of a task that is finished
            assert answer.status_code == 400
            continue
        assert answer.status_code == 200, (fields, answer.text)
    assert len(entries(made)) == len(forms) - 1 == 5


@pytest.mark.parametrize(
    ("change", "said"),
    [
        ({"hours": "many"}, "want a number such as 4.5"),
        ({"hours": "-3"}, "hours"),
        ({"hours": "nan"}, "want a number"),
        ({"what": "rob"}, "nothing to write down"),
        ({"key": ""}, "load the page again"),
        ({"what": "started", "task": "../x"}, "task"),
        ({"what": "reading", "quantity": BAD, "value": "4", "unit": "degF"}, "quantity"),
        ({"what": "undo", "seq": "7"}, "seq"),
        ({"what": "release", "task": "lay", "role": "engineer"}, "may not release a hold"),
        ({"ago_s": "9999999"}, "waited 115 days"),
    ],
)
def test_what_cannot_be_is_told_as_text_and_nothing_is_written(
    made: Made, client: TestClient, change: dict[str, str], said: str
) -> None:
    path, form = own(made, client)
    answer = client.post(path, data=form | change)
    assert answer.status_code == 400
    assert said in answer.text
    assert BAD not in answer.text
    assert entries(made) == []


def no_room(made: Made) -> AbstractContextManager[None]:
    return full_disk(made.service.store)


@contextmanager
def broken_job(made: Made) -> Iterator[None]:
    """Somebody is editing the job file on the service's machine."""
    file = Path(made.service.store.runs.watched()[0].file)
    text = file.read_text()
    file.write_text(text + "what: [")
    yield
    file.write_text(text)


@pytest.mark.parametrize("trouble", [no_room, broken_job])
def test_what_cannot_be_written_now_may_be_sent_again(
    made: Made, client: TestClient, trouble: Callable[[Made], AbstractContextManager[None]]
) -> None:
    """503 with Retry-After (RFC 9110, 15.6.4): the entry is fine, so no phone may drop it."""
    path, form = own(made, client)
    form |= {"what": "note", "text": "n" * 190}
    api = {"Authorization": f"Bearer {path.split('/')[2]}"}
    body = {"what": "lost", "hours": 1, "cause": "rain", "key": "j" * 24}
    raw = picture(size=(1200, 900))
    with trouble(made):
        phone = client.post(
            path,
            data=form,
            files={"photo": ("a.jpg", raw)},
            headers={"Accept": "application/json"},
        )
        page = client.post(path, data=form, files={"photo": ("a.jpg", raw)})
        told = client.post(f"/v1/jobs/{JOB}/log", json=body, headers=api)
        for answer in (phone, page, told):
            assert (answer.status_code, answer.headers["retry-after"]) == (503, "30"), answer.text
    assert phone.json()["wrong"]
    assert "n" * 190 in page.text
    assert entries(made) == []
    for _ in range(2):
        assert client.post(path, data=form, files={"photo": ("a.jpg", raw)}).status_code == 200
    assert client.post(f"/v1/jobs/{JOB}/log", json=body, headers=api).status_code == 200
    assert [kind for kind, *_ in entries(made)] == ["note", "lost"]
    assert made.service.store.verify() == ()


@pytest.mark.parametrize("what", ["lost", "release"])
def test_what_one_person_wrote_is_not_taken_from_another(
    made: Made, client: TestClient, what: str
) -> None:
    """A phone that is shared sends what waits with the page, and the cookie, of who is there."""
    form = FORM | {"what": what, "task": "lay", "role": "engineer", "by": "E. Berg"}
    path = f"/j/{JOB}/log"
    sign_in(made, client, "B. Lund", releases=("engineer",))
    answer = client.post(path, data=form | {"csrf": csrf_of(client, path)})
    assert answer.status_code == 403
    assert answer.text == "not taken: E. Berg wrote it, B. Lund sends it\n"
    assert entries(made) == []
    sign_in(made, client, "E. Berg", releases=("engineer",))
    assert client.post(path, data=form | {"csrf": csrf_of(client, path)}).status_code == 200
    assert [who for _, who, _ in entries(made)] == ["E. Berg"]


def test_what_is_refused_without_a_script_comes_back_filled_in(
    made: Made, client: TestClient
) -> None:
    path, form = own(made, client)
    wrong = {"what": "reading", "quantity": "air_temperature", "value": "4l", "place": "north <b>"}
    text = client.post(path, data=form | wrong | {"unit": "degF"}).text
    assert 'name="value" value="4l"' in text
    assert 'name="place" value="north &lt;b&gt;"' in text
    assert 'value="air_temperature" checked' in text
    assert text.count(" checked") == 1
    text = client.post(path, data=form | {"hours": "99", "cause": "wind"}).text
    assert 'name="hours" value="99"' in text
    assert text.count('value="99"') == 1  # hours left is another form
    assert '<option value="wind" selected>' in text
    assert 'value="99"' not in client.get(path).text


def test_an_entry_that_waited_on_a_phone_stands_at_its_own_hour(
    made: Made, client: TestClient
) -> None:
    path, form = own(made, client)
    answer = client.post(
        path, data={**form, "ago_s": "5400.123"}, headers={"Accept": "application/json"}
    )
    assert answer.json() == {"said": ["written down as 1"], "wrong": []}
    (entry,) = made.service.store.entries(JOB)
    assert entry.entered_at - entry.at == timedelta(seconds=5400.123)


def test_the_plan_follows_and_says_what_moved(made: Made, client: TestClient) -> None:
    path, form = own(made, client)
    root = path.removesuffix("log")
    assert "What moved" not in client.get(f"{root}plan").text
    client.post(path, data=form | {"hours": "9"})
    text = client.get(f"{root}plan").text
    assert "is being planned; this is the plan without it" in text
    assert "http-equiv" not in text  # no page reloads itself: WCAG 2.2, 2.2.1 and 3.2.5
    assert f'<a href="{root}plan">Look again</a>' in text
    replanned(made)
    text = client.get(f"{root}plan").text
    assert "is being planned" not in text
    assert "What moved" in text
    assert "lost 9 h, rain" in text
    assert "<td>rain</td>" in text


def test_an_undo_moves_the_plan_back(made: Made, client: TestClient) -> None:
    path, form = own(made, client)
    root = path.removesuffix("log")
    before = re.findall(r"<td>(.*?)</td>", client.get(f"{root}plan").text)
    client.post(path, data=form | {"hours": "9"})
    replanned(made)
    made.clock.now += timedelta(minutes=1)
    undo = form | {"what": "undo", "seq": "1", "key": "u" * 24}
    assert client.post(path, data=undo).status_code == 200
    replanned(made)
    text = client.get(f"{root}plan").text
    rows = text.split('aria-label="The plan as a table"')[1]
    assert re.findall(r"<td>(.*?)</td>", rows) == before


def test_a_replan_that_fails_is_told_and_the_old_plan_stays(
    made: Made, client: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    path, form = own(made, client)
    client.post(path, data=form)

    def broken(*_: object, **__: object) -> None:
        raise RuntimeError("a bug")

    monkeypatch.setattr("scheduler.service.replans.judged_again", broken)
    for _ in range(TRIES - 1):  # it may pass, so the next beats try again
        replanned(made)
        assert "error of Closein" not in client.get(f"{path.removesuffix('log')}plan").text
    replanned(made)
    text = client.get(f"{path.removesuffix('log')}plan").text
    assert "is not in this plan: an error of Closein" in text


def test_a_photo_is_made_small_once_and_shown_without_what_it_hides(
    made: Made, client: TestClient
) -> None:
    path, form = own(made, client)
    root = path.removesuffix("log")
    answer = client.post(
        path,
        data=form | {"what": "note", "text": "north corner"},
        files={"photo": ("../../x.svg", telephone_picture(), "image/svg+xml")},
    )
    assert answer.status_code == 200, answer.text
    replanned(made)
    (photo,) = made.service.store.photos(JOB)
    assert (photo.media_type, photo.who) == ("image/jpeg", "A. Ryd")
    whole = client.get(f"{root}photos/{photo.identity}")
    assert whole.headers["content-type"] == "image/jpeg"
    assert whole.content == made.service.store.photo_bytes(photo.identity)
    assert "sandbox" in whole.headers["content-security-policy"]
    kept = Image.open(io.BytesIO(whole.content))
    assert (kept.format, kept.size) == ("JPEG", (1536, 2048))  # upright, as its EXIF says
    assert not kept.getexif()
    for hidden in (b"Exif", b"Maker", b"a remark", b"photoshop"):
        assert hidden not in whole.content
    small = client.get(f"{root}photos/{photo.identity}/small")
    assert Image.open(io.BytesIO(small.content)).size == (360, 480)
    assert photo.identity in client.get(path).text
    assert client.get(f"{root}photos/{'0' * 64}").status_code == 404
    assert made.service.store.verify() == ()


def telephone_picture() -> bytes:
    """Return a picture on its side, with place and maker (Exif 2.32, CIPA DC-008, 4.6)."""
    exif = Image.Exif()
    exif[0x0112] = 6  # Orientation: to be turned a quarter
    exif[0x010F] = "Maker"
    exif.get_ifd(0x8825)[2] = (44.0, 6.0, 0.0)  # GPSLatitude
    out = io.BytesIO()
    Image.new("RGB", (4000, 3000), "grey").save(out, "JPEG", exif=exif, comment=b"a remark")
    return out.getvalue()


@pytest.mark.parametrize("mode", ["L", "P", "RGBA", "LA", "1", "I;16", "CMYK"])
def test_a_picture_of_any_kind_of_colour_is_kept(mode: str) -> None:
    out = io.BytesIO()
    Image.new(mode, (3000, 40)).save(out, "JPEG" if mode in {"L", "CMYK"} else "PNG")
    assert Image.open(io.BytesIO(made_small(out.getvalue()))).size == (2048, 27)


def test_a_picture_of_two_in_one_file_is_one_picture() -> None:
    """Telephones write such files (CIPA DC-007, Multi-Picture Format)."""
    out = io.BytesIO()
    first, second = Image.new("RGB", (64, 48), "red"), Image.new("RGB", (64, 48), "blue")
    first.save(out, "MPO", save_all=True, append_images=[second])
    assert Image.open(io.BytesIO(made_small(out.getvalue()))).format == "JPEG"


HUNGER = """
import re, sys
from scheduler.service.photos import made_small
from PIL import Image, JpegImagePlugin, PngImagePlugin, WebPImagePlugin, ImageOps
def most():  # of this process alone: what getrusage tells begins with its parent's
    return int(re.search(r"VmHWM:\\s+(\\d+) kB", open("/proc/self/status").read())[1])
raw = open(sys.argv[1], "rb").read(); before = most()
try: made_small(raw)
except Exception as error: print(error, file=sys.stderr)
print((most() - before) // 1024)
"""


@pytest.mark.parametrize(
    ("kind", "size"),
    [("JPEG", (8000, 6250)), ("progressive", (8000, 6250)), ("PNG", (4000, 3000)),
     ("PNG", (7000, 7000)), ("WEBP", (4000, 3000)), ("RGBA", (4000, 3000))],
)  # fmt: skip
def test_no_picture_takes_much_memory(tmp_path: Path, kind: str, size: tuple[int, int]) -> None:
    """One of 190 kB took 765 MB at every look."""
    how = {"progressive": ("JPEG", {"progressive": True}), "RGBA": ("PNG", {})}
    name, more = how.get(kind, (kind, {}))
    mode = "RGBA" if kind == "RGBA" else "RGB"
    Image.new(mode, size, "grey").save(tmp_path / "it", name, **more)
    done = subprocess.run(
        [sys.executable, "-c", HUNGER, str(tmp_path / "it")],
        capture_output=True,
        text=True,
        check=True,
    )
    assert int(done.stdout) < 200, done.stderr  # MB


@pytest.mark.parametrize(
    "content",
    [
        b"<svg xmlns='http://www.w3.org/2000/svg'><script>alert(1)</script></svg>",
        b"<html><script>alert(1)</script>",
        b"GIF89a" + b"\0" * 60,
        picture()[:400],
        b"\xff\xd8\xff" + b"x" * 100,
    ],
)
def test_what_is_no_photo_is_not_kept(made: Made, client: TestClient, content: bytes) -> None:
    path, form = own(made, client)
    answer = client.post(
        path, data=form | {"what": "note"}, files={"photo": ("a.jpg", content, "image/jpeg")}
    )
    assert answer.status_code == 400
    assert "JPEG, PNG or WebP" in answer.text
    assert made.service.store.photos(JOB) == ()
    assert entries(made) == []


def test_a_picture_that_unfolds_to_a_giant_is_not_opened(made: Made, client: TestClient) -> None:
    """A PNG of one colour packs 200 million pixels into little."""
    path, form = own(made, client)
    raw = picture("PNG", (20_000, 10_000))
    assert len(raw) < 2_000_000
    answer = client.post(
        path, data=form | {"what": "note"}, files={"photo": ("a.png", raw, "image/png")}
    )
    assert answer.status_code == 400
    assert made.service.store.photos(JOB) == ()


def test_who_may_only_read_is_told_nothing_of_the_log(made: Made, client: TestClient) -> None:
    path = f"{link(made)}log"
    assert client.get(path).status_code == client.post(path, data=FORM).status_code == 404
    assert entries(made) == []


def test_every_cause_that_the_page_offers_is_taken(made: Made, client: TestClient) -> None:
    """They are the book's own words; one of the page's own would be refused."""
    path, form = own(made, client)
    offered = re.search(r'<select name="cause">(.*?)</select>', client.get(path).text)
    assert offered is not None
    causes = re.findall(r'value="([^"]+)"', offered[1])
    assert "rain" in causes
    for number, cause in enumerate(causes):
        told = form | {"cause": cause, "key": f"{number:024}"}
        assert client.post(path, data=told).status_code == 200, cause
