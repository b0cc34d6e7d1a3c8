"""The headers every answer carries: what a browser may load, and that nobody frames it."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import MutableMapping
from functools import cache
from pathlib import Path
from typing import Any

import streamlit
from starlette.types import Scope, Send

from dashboard import bench_script, newest
from dashboard.gate import Rules

_INLINE = re.compile(r"<script>(.*?)</script>", re.DOTALL)


@cache
def _inline_scripts() -> str:
    """Give the hashes of the scripts that may run: those in the server's own page, and ours.

    Source of the form: CSP level 2, §4.2.5.
    """
    page = Path(streamlit.__file__).parent / "static" / "index.html"
    found = _INLINE.findall(page.read_text(encoding="utf-8")) if page.exists() else []
    found += (bench_script.BODY, newest.BODY)
    digests = [hashlib.sha256(script.encode("utf-8")).digest() for script in found]
    return " ".join(f"'sha256-{base64.b64encode(one).decode()}'" for one in digests)


@cache
def policy() -> str:
    """Give the content security policy: this server alone, in no frame.

    Styles are set by the pages' own scripts and cannot be listed beforehand. No text is run as
    code: the server's page draws charts with Vega's interpreter.
    """
    return "; ".join(
        (
            "default-src 'self'",
            f"script-src 'self' {_inline_scripts()}".strip(),
            "style-src 'self' 'unsafe-inline'",
            "img-src 'self' data: blob:",
            "media-src 'self' blob:",
            "font-src 'self' data:",
            "connect-src 'self'",
            "worker-src 'self' blob:",
            "object-src 'none'",
            "base-uri 'self'",
            "form-action 'self'",
            "frame-ancestors 'none'",
        )
    )


def with_headers(send: Send, scope: Scope, rules: Rules) -> Send:
    """Give a `send` that sets the headers of every answer."""
    told = {
        b"content-security-policy": policy(),
        b"x-frame-options": "DENY",
        b"x-content-type-options": "nosniff",
        b"referrer-policy": "same-origin",
        b"permissions-policy": "camera=(self), geolocation=(), microphone=()",
        b"cross-origin-opener-policy": "same-origin",
        b"cross-origin-resource-policy": "same-origin",
    }
    if rules.is_https:
        told[b"strict-transport-security"] = "max-age=31536000"
    if scope["path"].startswith(("/media/", "/sign-")):
        told[b"cache-control"] = "no-store"

    async def sending(message: MutableMapping[str, Any]) -> None:
        if message["type"] == "http.response.start":
            kept = [(key, value) for key, value in message["headers"] if key.lower() not in told]
            kept += [(key, value.encode("latin-1")) for key, value in told.items()]
            message = {**message, "headers": kept}
        await send(message)

    return sending
