"""What every page that we write has: a policy that lets nothing in, data that stays data, a direction of writing."""

from __future__ import annotations

import base64
import hashlib

from layerpreview.output.plain_json import json_line

_RIGHT_TO_LEFT = ("ar", "ckb", "dv", "fa", "he", "ps", "sd", "ug", "ur", "yi")
"""Languages whose usual script runs that way (Unicode CLDR, likely subtags)."""


def content_policy(*, style: str, script: str) -> str:
    """The page's content security policy: this style and this script by hash, pictures from the page itself."""
    return "; ".join(
        [
            "default-src 'none'",
            "img-src data: blob:",
            f"style-src '{_hash(style)}'",
            f"script-src '{_hash(script)}'",
            "connect-src 'none'",
            "base-uri 'none'",
            "form-action 'none'",
        ]
    )


def json_block(value: object) -> str:
    """JSON that may stand inside a script element whatever its texts hold: no sign in it can end the element."""
    text = json_line(value, packed=True, ascii_only=True)
    return text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e")


def text_direction(lang: str) -> str:
    """Which way a language is written, as HTML has it: `ltr` or `rtl`."""
    return "rtl" if lang.split("-")[0] in _RIGHT_TO_LEFT else "ltr"


def _hash(text: str) -> str:
    return "sha256-" + base64.b64encode(hashlib.sha256(text.encode("utf-8")).digest()).decode("ascii")
