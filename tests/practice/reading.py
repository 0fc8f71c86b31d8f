"""Read a file of practice cases and its vocabulary; every moment stays the text it was."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

from ruamel.yaml import YAML
from ruamel.yaml.constructor import SafeConstructor
from ruamel.yaml.error import YAMLError

SCHEMA = "practice-cases/2"
VOCABULARY = "practice-vocabulary/1"
OWN_VOCABULARY = Path(__file__).with_name("vocabulary.yaml")


class UnreadableCases(Exception):
    """The file cannot be read or is not a file of practice cases."""


class _TextMoments(SafeConstructor):
    """Leaves dates and times as the text they were: zones and days must not be guessed."""


_TextMoments.add_constructor(
    "tag:yaml.org,2002:timestamp", lambda loader, node: loader.construct_scalar(node)
)


def load(path: Path) -> Any:
    """Return what a YAML file holds.

    Raises
    ------
    UnreadableCases
        If the file is absent, not text or not YAML.
    """
    yaml = YAML(typ="safe", pure=True)
    yaml.Constructor = _TextMoments
    try:
        return yaml.load(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, YAMLError) as error:
        raise UnreadableCases(f"{path}: {error}") from error


def read_cases(path: Path) -> list[Mapping[str, Any]]:
    """Return the cases of a file.

    Raises
    ------
    UnreadableCases
        If the file is not of this schema.
    """
    content = load(path)
    if not isinstance(content, Mapping) or content.get("schema") != SCHEMA:
        raise UnreadableCases(f"{path}: schema is not {SCHEMA}")
    cases = content.get("cases")
    if not isinstance(cases, list) or not all(
        isinstance(case, Mapping) and case.get("id") for case in cases
    ):
        raise UnreadableCases(f"{path}: cases is not a list of cases with ids")
    return cases


def read_vocabulary(beside: Path) -> Mapping[str, Any]:
    """Return the vocabulary that lies beside the cases, else the one kept here."""
    named = beside.with_name("vocabulary.yaml")
    content = load(named if named.is_file() else OWN_VOCABULARY)
    if not isinstance(content, Mapping) or content.get("schema") != VOCABULARY:
        raise UnreadableCases(f"{named}: schema is not {VOCABULARY}")
    return content


def moment(text: object, zone: ZoneInfo) -> datetime:
    """Return an instant; text without an offset is local, a bare day is its beginning."""
    if isinstance(text, str) and len(text) == 10:
        return datetime.combine(date.fromisoformat(text), time(0), tzinfo=zone)
    found = datetime.fromisoformat(str(text))
    return found if found.tzinfo is not None else found.replace(tzinfo=zone)


def is_day(text: object) -> bool:
    """Tell whether the text is a bare calendar day."""
    try:
        date.fromisoformat(str(text))
    except ValueError:
        return False
    return len(str(text)) == 10


def hours(count: float) -> timedelta:
    """Return so many hours."""
    return timedelta(hours=float(count))
