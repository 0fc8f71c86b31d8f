"""Characters that no text of a person holds; what has them is refused where it comes in.

A control character in a name breaks a mail's head, a picture or a line of the log, and PostgreSQL
keeps no U+0000 (its manual, 8.3 Character Types). The classes are those of the Unicode Standard,
table 4-4; what joins or directs letters (Cf) is part of people's writing and stays.
"""

from __future__ import annotations

import unicodedata
from typing import Final

STRANGE: Final = frozenset({"Cc", "Cs", "Zl", "Zp"})
IN_NOTES: Final = "\t\n\r"  # of texts of several lines
LINE: Final = r"^[^\x00-\x1f\x7f-\x9f\u2028\u2029]*$"  # the same for a line, as a pattern


def strange_in(text: str, *, allowed: str = "") -> str:
    """Return the first character that no text has, as ``U+0000``; empty where there is none.

    Parameters
    ----------
    text : str
    allowed : str
        Control characters that may stand in it; ``IN_NOTES`` for a text of several lines.
    """
    for sign in text:
        if sign not in allowed and unicodedata.category(sign) in STRANGE:
            return f"U+{ord(sign):04X}"
    return ""
