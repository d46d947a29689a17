"""Take the pictures of the README from the demo shop's books: `python tests/web/screenshots.py`.

They show the committed demo books as they are, light, dark and on a phone, and are written to `docs/screens/`. Needs
chromium and its driver, as the browser tests do.
"""

from __future__ import annotations

import shutil
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from browsing import Browser, start_browser  # noqa: E402 (the checkout first)
from served import Site, serve  # noqa: E402

from ledger_tools.archive import bring_up_to_date  # noqa: E402
from ledger_tools.folder import BooksFolder  # noqa: E402

TARGET = ROOT / "docs" / "screens"

#: Name of the picture, page, theme, width and height.
PICTURES = (
    ("month-light", "Month/", "light", 1280, 1100),
    ("orders-dark", "Orders/?sort=profit&dir=up", "dark", 1280, 900),
    ("charts-light", "Orders/?show=charts", "light", 1280, 900),
    ("order-dark", "Order/?id=10191", "dark", 1280, 900),
    ("open-items-phone", "OpenItems/", "light", 390, 900),
    ("month-phone-dark", "Month/", "dark", 390, 900),
)


def take(site: Site, browser: Browser) -> None:
    """Take every picture."""
    for name, page, theme, width, height in PICTURES:
        browser.look(theme=theme, width=width, height=height)
        browser.open(site.home + page)
        browser.driver.save_screenshot(str(TARGET / f"{name}.png"))


def main() -> None:
    """Serve a copy of the demo books and take the pictures."""
    TARGET.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryDirectory() as scratch:
        folder = BooksFolder(Path(scratch) / "books")
        shutil.copytree(ROOT / "books", folder.root)
        bring_up_to_date(folder, lambda stage: None)
        aside = Path(scratch) / "aside"
        aside.mkdir()
        with serve(folder, aside) as site, start_browser(aside) as browser:
            take(site, browser)


if __name__ == "__main__":
    main()
