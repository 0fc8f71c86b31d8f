"""README.md names every setting, so that an operator finds it."""

from __future__ import annotations

from pathlib import Path

from scheduler.settings import Settings

README = Path(__file__).resolve().parents[1] / "README.md"


def test_readme_names_every_setting() -> None:
    text = README.read_text(encoding="utf-8")
    missing = [n for n in Settings.model_fields if f"`CLOSEIN_{n.upper()}`" not in text]
    assert missing == []
