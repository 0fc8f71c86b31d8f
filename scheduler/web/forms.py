"""Reading a form: its fields, and a photo where it has one."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException
from starlette.requests import Request

from rules.errors import BadInput
from rules.text import strange_in

FORM: Final = "application/x-www-form-urlencoded"
WITH_PHOTO: Final = "multipart/form-data"
MOST_FIELDS: Final = 20


@dataclass(frozen=True, slots=True)
class Form:
    """What a form says, each field once."""

    fields: dict[str, str]
    photo: bytes = b""


async def form_of(request: Request) -> Form | None:
    """Return a form; None where the body is none, cannot be read, or says a field twice.

    Raises
    ------
    BadInput
        If a field holds a character that no line of text has.
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind not in {FORM, WITH_PHOTO}:
        return None
    try:
        async with request.form(max_files=1, max_fields=MOST_FIELDS) as given:
            fields: dict[str, str] = {}
            photo = b""
            for name, value in given.multi_items():
                if isinstance(value, UploadFile):
                    photo = await value.read() if name == "photo" else photo
                elif name in fields:
                    return None
                else:
                    fields[name] = value
    except (HTTPException, ValueError):  # not as its kind says, or too many fields
        return None
    if any("\ufffd" in text for text in fields.values()):
        return None  # bytes that are no text
    for name, text in fields.items():
        strange = strange_in(f"{name}{text}")
        if strange:
            raise BadInput(
                f"a field holds the character {strange}, which no line has; take it out"
            )
    return Form(fields, photo)
