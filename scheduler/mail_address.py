"""Which mail addresses are taken: those that any mail server on the way takes.

RFC 5321, 4.1.2, in ASCII; the local part is read by the standard library's header parser. Other
letters need SMTPUTF8 (RFC 6531) of every server on the way, which nobody can check beforehand.
"""

from __future__ import annotations

import re
from email.errors import MessageError
from email.headerregistry import Address
from typing import Final

_LABEL: Final = "[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?"  # RFC 1035, 2.3.1 and 2.3.4
# RFC 5321, 4.5.3.1.1; its inside is the parser's business
_LOCAL: Final = r"""[A-Za-z0-9!"#$%&'()*+,./:;<=>?\[\\\]^_`{|}~-]{1,64}"""
PATTERN: Final = rf"^{_LOCAL}@({_LABEL}\.)+{_LABEL}$"
SENDER: Final = rf"^{_LOCAL}@({_LABEL}\.)*{_LABEL}$"  # also of this machine alone
LONGEST: Final = 254  # RFC 3696, erratum 1690
WANT: Final = (
    "give a mail address such as builder@example.org: ASCII letters, digits and common signs,"
    " a domain with other letters in its xn-- form"
)


def mail_address(text: str) -> str:
    """Return an address as it is.

    Raises
    ------
    ValueError
        If it is none that every server takes; says what would be right.
    """
    return _checked(text, PATTERN)


def sender_address(text: str) -> str:
    """Return the address that mail comes from as it is; it may be of this machine alone.

    Raises
    ------
    ValueError
        As ``mail_address``.
    """
    return _checked(text, SENDER)


def _checked(text: str, pattern: str) -> str:
    if len(text) > LONGEST or not re.fullmatch(pattern, text):
        raise ValueError(WANT)
    try:
        read = Address(addr_spec=text).addr_spec
    except (MessageError, ValueError, IndexError) as error:
        raise ValueError(WANT) from error
    if read != text:  # a comment, or quotes that are not needed
        raise ValueError(WANT)
    return text
