"""Make the pages' pictures of the desk from the sample, in a real browser: python -m samples.make_desk_pictures

From the project's folder; needs Chromium and the package playwright, as the browser tests do.
"""

from __future__ import annotations

import contextlib
import tempfile
import time
from pathlib import Path

from PIL import Image

from tests.browser import chromium
from tests.browser.desk_page import READY, SETTLED, ChromiumPage, running_desk

HERE = Path(__file__).resolve().parent
PICTURES = HERE / "pictures"
LAPTOP, PHONE = (1366, 768), (390, 844)
GAP_PX, GROUND = 40, (255, 255, 255)
REST_S = 3.0
"""The picture is drawn coarsely first and sharpened when it rests."""


def main() -> None:
    """Film how a job is begun, a coat that is open on a laptop, judging, and the film on a phone."""
    with tempfile.TemporaryDirectory() as folder:
        job = Path(folder, "my-mandolin")
        job.mkdir()
        (job / "scheme.toml").write_bytes((HERE / "octave_mandolin.toml").read_bytes())
        # The page names commands as they are typed in the folder where the desk was started.
        with contextlib.chdir(folder), running_desk(job / "scheme.toml") as desk, chromium.browser() as browser:
            context = browser.new_context(viewport={"width": LAPTOP[0], "height": LAPTOP[1]})
            page = ChromiumPage(context.new_page())
            page.page.goto(desk.url)
            home = page.page.url
            page.page.goto(home + "begin")
            _shot(page, Path(folder, "begin.png")).save(PICTURES / "desk_begin.jpg", quality=85)
            page.page.goto(home)
            page.wait_for(READY)
            page.wait_for(SETTLED)
            page.click("#strips li:nth-child(2) button")
            laptop = _shot(page, Path(folder, "laptop.png"))
            page.press("Escape")
            page.click("[data-go=judge]")
            _shot(page, Path(folder, "judge.png")).save(PICTURES / "desk_judge.jpg", quality=85)
            page.page.set_viewport_size({"width": PHONE[0], "height": PHONE[1]})
            page.click("[data-go=film]")
            phone = _shot(page, Path(folder, "phone.png"))
    whole = Image.new("RGB", (LAPTOP[0] + GAP_PX + PHONE[0], max(LAPTOP[1], PHONE[1])), GROUND)
    whole.paste(laptop, (0, (whole.height - LAPTOP[1]) // 2))
    whole.paste(phone, (LAPTOP[0] + GAP_PX, 0))
    whole.save(PICTURES / "desk.jpg", quality=88)


def _shot(page: ChromiumPage, file: Path) -> Image.Image:
    time.sleep(REST_S)
    page.page.screenshot(path=str(file))
    return Image.open(file).convert("RGB")


if __name__ == "__main__":
    main()
