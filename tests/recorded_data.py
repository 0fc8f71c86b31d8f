"""Where the recorded public data lies: real forecasts, grids and observations.

It is not part of the project. ``CLOSEIN_DATA`` names its folder; without it a folder
``shared/data`` beside the checkout is used. Tests that need it skip with a reason elsewhere.
"""

from __future__ import annotations

import os
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


def data_folder() -> Path | None:
    """Return the folder of recorded data, None where this machine has none."""
    named = os.environ.get("CLOSEIN_DATA")
    beside = ROOT.parent / "shared" / "data"
    for folder in (Path(named) if named else None, beside):
        if folder is not None and folder.is_dir():
            return folder
    return None


def recorded(*parts: str) -> Path:
    """Return the path of a recorded file, or skip the test where the data is absent."""
    folder = data_folder()
    if folder is None:
        pytest.skip("recorded data is absent; set CLOSEIN_DATA to its folder")
    path = folder.joinpath(*parts)
    if not path.exists():
        pytest.skip(f"recorded data has no {'/'.join(parts)}")
    return path


def recorded_files(folder: str, pattern: str) -> list[Path]:
    """Return matching recorded files for parametrizing; empty where the data is absent."""
    base = data_folder()
    return sorted((base / folder).glob(pattern)) if base is not None else []
