"""Take the pictures of the pages that stand in the docs: ``python -m tests.web.pictures``."""

from __future__ import annotations

import io
import shutil
from pathlib import Path
from tempfile import TemporaryDirectory

from PIL import Image
from playwright.sync_api import sync_playwright

from tests.web.demo_site import AT, demo_site

FOLDER = Path(__file__).resolve().parents[2] / "fixtures" / "pages"
SHOTS = (("", "today"), ("week", "week"), ("plan", "plan"), ("walls", "walls"),
         ("close-in", "close-in"), ("log", "log"))  # fmt: skip
SIZES = ((360, 1100), (1280, 900))  # a phone, the top of a page; a desk
COLOURS = 32  # of a picture: enough for text and charts, and a third of the bytes


def main() -> None:
    """Write a picture of each page at both widths."""
    FOLDER.mkdir(exist_ok=True)
    with (
        TemporaryDirectory() as folder,
        demo_site(Path(folder), scenarios=600) as site,
        sync_playwright() as play,
    ):
        browser = play.chromium.launch(
            executable_path=shutil.which("chromium"), args=["--no-sandbox"]
        )
        for width, height in SIZES:
            context = browser.new_context(viewport={"width": width, "height": height})
            page = context.new_page()
            page.clock.set_fixed_time(AT)
            for path, name in SHOTS:
                page.goto(f"{site.url}{path}")
                page.wait_for_load_state("networkidle")
                with Image.open(io.BytesIO(page.screenshot())) as shot:
                    small = shot.convert("P", palette=Image.Palette.ADAPTIVE, colors=COLOURS)
                    small.save(FOLDER / f"{name}-{width}.png", optimize=True)
        browser.close()


if __name__ == "__main__":
    main()
