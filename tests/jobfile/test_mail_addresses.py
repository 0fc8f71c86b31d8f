"""A mail address that a mail server may not take is refused at ``check``, with its line."""

from __future__ import annotations

from pathlib import Path

import pytest

from rules.errors import BadInput, Faults
from scheduler import jobfile
from scheduler.settings import settings
from tests.service.made_job import made_job

# Common ones, and those that RFC 3696, section 3, gives as valid without quotes.
TAKEN = [
    "builder@example.org",
    "o'neil@example.org",
    "user+mailbox@example.com",
    "customer/department=shipping@example.com",
    "$A12345@example.com",
    "!def!xyz%abc@example.com",
    "_somename@example.com",
    "yard@xn--exmple-cua.org",
    f"{'a' * 64}@example.org",  # RFC 5321, 4.5.3.1.1: a local part has 64 octets
    f"a@{'b' * 63}.org",  # RFC 1035, 2.3.4: a label has 63
]
# RFC 5321, 4.1.2: a local part is a dot-string or a quoted string, a domain letters, digits and
# inner hyphens; other letters need SMTPUTF8 (RFC 6531), which not every server on the way has.
REFUSED = [
    "jörg@example.org",
    "builder\u200b@example.org",
    "yard@exämple.org",
    "<builder@example.org>",
    "a,b@example.org",
    "a;b@example.org",
    "a(b)@example.org",
    "a..b@example.org",
    ".a@example.org",
    "a.@example.org",
    "a@example..org",
    "a@-example.org",
    "a@example-.org",
    "a@example.org.",
    "a@exam_ple.org",
    "a@[192.0.2.1]",
    "a\x7f@example.org",
    "a@localhost",
    f"{'a' * 65}@example.org",
    f"a@{'b' * 64}.org",
]


def refusal(folder: Path, address: str) -> str:
    import json

    file = made_job(folder, delivery=f"[{json.dumps(address)}]")
    try:
        jobfile.parse(jobfile.load(file), file="job.yaml")
    except Faults as faults:
        return "\n".join(faults.lines())
    return ""


@pytest.mark.parametrize("address", TAKEN)
def test_an_address_that_every_server_takes_is_taken(tmp_path: Path, address: str) -> None:
    assert refusal(tmp_path, address) == ""


@pytest.mark.parametrize("address", REFUSED)
def test_an_address_that_a_server_may_not_take_is_refused_with_its_line(
    tmp_path: Path, address: str
) -> None:
    told = refusal(tmp_path, address)
    assert told.startswith("job.yaml:"), told
    assert "delivery" in told
    assert "give a mail address such as" in told


@pytest.mark.parametrize("address", [one for one in REFUSED if one != "a@localhost"])
def test_a_sender_that_a_server_may_not_take_is_refused(address: str) -> None:
    with pytest.raises(BadInput, match="CLOSEIN_SMTP_FROM is"):
        settings({"CLOSEIN_SMTP_FROM": address})


@pytest.mark.parametrize("contact", ["jörg@example.org", "a\u200b@example.org", "a@b.org\r\nX: 1"])
def test_a_contact_that_no_header_can_hold_is_refused(contact: str) -> None:
    """RFC 9110, 5.5: a field value is visible ASCII and blanks."""
    with pytest.raises(BadInput, match="CLOSEIN_CONTACT is"):
        settings({"CLOSEIN_CONTACT": contact})
