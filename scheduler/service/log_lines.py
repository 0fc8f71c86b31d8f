"""Logs as one JSON object a line. Only named fields get in, so no secret and no address does."""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from typing import Final, TextIO

FIELDS: Final = ("job", "kind", "slot", "source", "number", "tries", "late", "told")


class JsonLines(logging.Formatter):
    """Writes a record as a line of JSON."""

    def format(self, record: logging.LogRecord) -> str:
        """Return the line: when, how grave, from where, what, the fields, the traceback."""
        line: dict[str, object] = {
            "at": datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds"),
            "level": record.levelname.lower(),
            "from": record.name,
            "says": record.getMessage(),
        }
        line |= {name: getattr(record, name) for name in FIELDS if hasattr(record, name)}
        if record.exc_info:
            line["trace"] = self.formatException(record.exc_info)
        return json.dumps(line, ensure_ascii=False, default=str)


def log_to(stream: TextIO | None = None) -> None:
    """Send the service's logs to a stream, standard error unless another is given."""
    handler = logging.StreamHandler(stream or sys.stderr)
    handler.setFormatter(JsonLines())
    logging.basicConfig(level=logging.WARNING, handlers=[handler], force=True)
    logging.getLogger("closein").setLevel(logging.INFO)
    # its warnings tell of each request that is none: anybody could fill the disk with them
    logging.getLogger("uvicorn.error").setLevel(logging.ERROR)
