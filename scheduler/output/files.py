"""Writing what a command made: one file, or a folder of them."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

from rules.errors import BadInput


def write_file(path: Path, made: str | bytes) -> None:
    """Write a text or a picture.

    Raises
    ------
    BadInput
        If it cannot be written.
    """
    try:
        path.write_bytes(made.encode() if isinstance(made, str) else made)
    except OSError as error:
        raise BadInput(f"{path}: {error.strerror or error}") from error


def write_folder(folder: Path, made: Mapping[str, str | bytes]) -> list[Path]:
    """Write files into a folder, made where it is not there, and return their paths.

    Raises
    ------
    BadInput
        If the folder cannot be written to.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise BadInput(f"{folder}: {error.strerror or error}") from error
    for name, content in made.items():
        write_file(folder / name, content)
    return [folder / name for name in made]
