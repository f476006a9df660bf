"""A code for a phone, and the page where the phone changes its token for a cookie."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import segno
from markupsafe import Markup

from pinproof.web.finding import Finding
from pinproof.web.page import Action, Ask, Done, Page, Parameter


def _share(ask: Ask) -> dict[str, Any]:
    return {"shared": bool(ask.site.shared), "names": ask.site.shared, "guests": ask.site.sessions.guests}


def _share_page(ask: Ask, found: Any) -> Mapping[str, Any]:
    if not found["shared"]:
        return {"found": found, "code": "", "address": ask.site.address, "spelled": ""}
    from pinproof.web.server import join_address

    link = join_address(ask.site)
    drawn = segno.make(link, error="m").svg_inline(scale=1, border=4, omitsize=True, svgclass="code", lineclass=None)
    return {"found": found, "code": Markup(drawn), "spelled": link.partition("#")[2]}


def _end(ask: Ask) -> Done:
    ask.site.sessions.end_all()
    return Done({"guests": 0}, ask.site.address("share"))


def _join_page(ask: Ask) -> dict[str, Any]:
    return {"joined": ask.local or ask.site.sessions.knows(ask.session)}


def _join(ask: Ask) -> Done:
    if ask.site.sessions.is_blocked:
        raise Finding(429, "Too many wrong codes in the last minute.", "Wait a minute, then scan the code again.")
    session = ask.site.sessions.join(ask.text("token").strip())
    if not session:
        raise Finding(403, "This code is not good (any more): it serves once.", "Scan the one that is shown now.")
    return Done({"joined": True}, "/", cookies={f"pinproof-{ask.site.port}": session})


PAGE = Page(
    "share", "/share", "Share", "How does a phone in the pit see these pages?", _share, "share.html", _share_page,
    actions=(Action("end", "Sends every guest out.", _end),), menu=False, local_only=True,
)  # fmt: skip
JOIN = Page(
    "join", "/join", "Join", "Is this the device that was invited?", _join_page, "join.html",
    actions=(
        Action(
            "token", "Changes a one-time token for a session cookie.", _join,
            (Parameter("token", "What stood behind the # in the scanned address.", required=True),), most_bytes=2_000,
        ),
    ),
    menu=False, is_open=True,
)  # fmt: skip
