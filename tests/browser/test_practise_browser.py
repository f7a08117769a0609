"""Learning the eye in a real browser, by keys alone: exists for a round that waits for a mouse, a page that scrolls
sideways on a small phone, and a seam with the wrong picture on one side."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from .conftest import SIZES
from .desk_page import spotless_page
from .test_begin_browser import HANDS, broken_rules, fits

pytestmark = [pytest.mark.browser, pytest.mark.slow]

ASKED = (
    "document.querySelector('#count').textContent === 'Round {} of 20' && document.querySelector('#target').complete"
)
TOLD = "'told' in document.body.dataset && document.querySelector('#guessed').complete"


def test_three_rounds_by_key(chromium: Any, axe: str, tmp_path: Path) -> None:
    process = subprocess.Popen(
        [sys.executable, "-m", "layerpreview", "practise", "--no-open"],
        cwd=tmp_path,
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
        text=True,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1", "XDG_DATA_HOME": str(tmp_path)},
    )
    with process:
        assert process.stdout is not None
        try:
            url = process.stdout.readline().strip()
            with spotless_page(chromium, url, SIZES["small"], **HANDS) as page:
                for number in (1, 2, 3):
                    page.wait_for(ASKED.format(number))
                    if number == 1:
                        fits(page)
                    if number == 3:
                        page.page.reload()  # what was said is not asked again
                        page.wait_for(ASKED.format(3))
                    page.press("5")
                    page.wait_for(TOLD)
                    assert page.evaluate("document.querySelector('#said').textContent") == "You said 5 coats"
                    assert page.evaluate("document.activeElement.id") == "next"
                    if number == 1:
                        fits(page)
                        assert broken_rules(page, axe) == []
                    page.press("Enter")
        finally:
            process.kill()
