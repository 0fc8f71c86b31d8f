"""A message as one MIME letter: text, HTML, pictures inside it, files with it.

Every header goes through the standard library's policy, which refuses a line break; texts that
come from a job file are brought to one line first, so a task's name can never be a header.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime
from hashlib import sha256
from io import BytesIO
from typing import Final

LARGEST: Final = 100_000  # bytes of a whole letter; pictures are left out before it is passed
COLOURS: Final = 8  # of a picture: line drawings need no more
SUBJECT_LONGEST: Final = 200


@dataclass(frozen=True, slots=True)
class Picture:
    """A picture inside the HTML, found there as ``cid:NAME``."""

    name: str
    about: str  # what a person reads who does not see it
    png: bytes


@dataclass(frozen=True, slots=True)
class File:
    """A file that comes with a letter."""

    name: str
    kind: str  # such as text/calendar
    content: bytes


@dataclass(frozen=True, slots=True)
class Letter:
    """What a person gets."""

    subject: str
    text: str
    html: str = ""  # empty: text only
    pictures: tuple[Picture, ...] = ()
    files: tuple[File, ...] = ()


def letter_bytes(
    letter: Letter, *, sender: str, recipient: str, message_id: str, at: datetime
) -> bytes:
    """Return the letter as it leaves: 7-bit lines, the same bytes for the same letter."""
    for count in range(len(letter.pictures), -1, -1):
        raw = _bytes(letter, letter.pictures[:count], sender, recipient, message_id, at)
        if len(raw) <= LARGEST or count == 0:
            return raw
    raise AssertionError("a letter without pictures is always returned")


def message_id_of(job: str, recipient: str, kind: str, day: str, *, sender: str) -> str:
    """Return the id of a message, the same whenever and wherever it is made."""
    own = sha256(f"{job}\0{recipient}\0{kind}\0{day}".encode()).hexdigest()[:32]
    return f"<closein.{own}@{sender.rpartition('@')[2] or 'closein.invalid'}>"


def one_line(text: str, longest: int = SUBJECT_LONGEST) -> str:
    """Return a text without line breaks and control characters."""
    plain = "".join(c if c.isprintable() else " " for c in text)
    line = " ".join(plain.split())
    return line if len(line) <= longest else f"{line[: longest - 1]}…"


def small(png: bytes) -> bytes:
    """Return a drawing with few colours, a fifth of its bytes."""
    from PIL import Image

    image = Image.open(BytesIO(png)).convert("RGB").quantize(COLOURS)
    out = BytesIO()
    image.save(out, "PNG", optimize=True)
    return out.getvalue()


def _bytes(
    letter: Letter,
    pictures: Sequence[Picture],
    sender: str,
    recipient: str,
    message_id: str,
    at: datetime,
) -> bytes:
    mail = EmailMessage(policy=SMTP.clone(cte_type="7bit"))
    mail["Subject"] = one_line(letter.subject)
    mail["From"] = sender
    mail["To"] = recipient
    mail["Message-ID"] = message_id
    mail["Date"] = format_datetime(at)
    mail["Auto-Submitted"] = "auto-generated"  # RFC 3834: nobody on holiday answers it
    mail.set_content(letter.text)
    if letter.html:
        shown = {picture.name for picture in pictures}
        mail.add_alternative(_without(letter, shown), subtype="html")
        page = mail.get_payload()[1]  # type: ignore[index]
        for picture in pictures:
            page.add_related(  # type: ignore[union-attr]
                picture.png, "image", "png", cid=f"<{picture.name}>", disposition="inline",
                filename=f"{picture.name}.png",
            )  # fmt: skip
    for file in letter.files:
        main, _, sub = file.kind.partition("/")
        mail.add_attachment(file.content, maintype=main, subtype=sub, filename=file.name)
    _fixed_boundaries(mail, message_id)
    return mail.as_bytes()


def _without(letter: Letter, shown: set[str]) -> str:
    """Return the HTML with a line in place of each picture that did not fit."""
    html = letter.html
    for picture in letter.pictures:
        if picture.name not in shown:
            begin = html.find(f'<img src="cid:{picture.name}"')
            end = html.find(">", begin) + 1
            if begin >= 0:
                html = f"{html[:begin]}<em>picture too large for this message</em>{html[end:]}"
    return html


def _fixed_boundaries(mail: EmailMessage, message_id: str) -> None:
    """Give each multipart a boundary made of the id, so that the same letter is the same bytes."""
    parts = (part for part in mail.walk() if part.is_multipart())
    for number, part in enumerate(parts):
        own = sha256(f"{message_id} {number}".encode()).hexdigest()[:24]
        part.set_boundary(f"=_closein_{own}")
