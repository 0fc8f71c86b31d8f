"""The page and the JSON Schema are those of the schema, and agree with the reader."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from jsonschema import Draft202012Validator
from ruamel.yaml import YAML

from scheduler.jobfile import reference
from tests.jobfile.test_malformed import BASE, SLIPS

WHOLE = Path(__file__).with_name("whole.yaml")


def loaded(text: str) -> Any:
    return YAML(typ="safe", pure=True).load(text)


def plain(value: Any) -> Any:
    """Return what an editor's YAML 1.2 sees: days and moments are texts."""
    if isinstance(value, dict):
        return {plain(key): plain(inside) for key, inside in value.items()}
    if isinstance(value, list):
        return [plain(inside) for inside in value]
    return value.isoformat() if hasattr(value, "isoformat") else value


@pytest.fixture(scope="module")
def validator() -> Draft202012Validator:
    schema = reference.json_schema()
    Draft202012Validator.check_schema(schema)
    return Draft202012Validator(schema)


def test_the_files_are_current() -> None:
    again = "run `python -m scheduler.jobfile.reference`"
    assert reference.SCHEMA.read_text(encoding="utf-8") == reference.schema_text(), again
    assert reference.PAGE.read_text(encoding="utf-8") == reference.page_text(), again


def test_every_key_is_on_the_page() -> None:
    page = reference.page_text()
    schema = reference.json_schema()
    for part in (schema, *schema["$defs"].values()):
        for key in part.get("properties", ()):
            assert f"`{key}`" in page, key


@pytest.mark.parametrize("text", [BASE, WHOLE.read_text(encoding="utf-8")], ids=["base", "whole"])
def test_a_fine_job_is_fine_in_an_editor(validator: Draft202012Validator, text: str) -> None:
    assert [error.message for error in validator.iter_errors(plain(loaded(text)))] == []


SEEN_IN_AN_EDITOR = [
    "another format", "no format", "an unknown key", "a key without its unit", "both units",
    "a latitude beyond the pole", "a number that is none", "a negative duration",
    "a mapping for a number", "a text for a list", "an unknown work type", "an unknown measure",
    "an id with a space", "an unknown day", "a shift without end", "no tasks", "a time alone",
    "a state that is none", "a rate without amount", "confidence in per cent",
    "a share in per cent", "a size without unit", "a mail address that is none",
]  # fmt: skip


@pytest.mark.parametrize("name", SEEN_IN_AN_EDITOR)
def test_a_slip_shows_in_an_editor_too(validator: Draft202012Validator, name: str) -> None:
    stands, instead, _ = SLIPS[name]
    assert not validator.is_valid(plain(loaded(BASE.replace(stands, instead))))
