"""What keeps other people and other sites out of the books, and keeps texts of exports from ever becoming markup.

The books have no password: whoever may talk to the server may read and write them. So the server listens on this
machine alone, answers only to its own names (a foreign name that points here is refused), takes writes only from its
own pages, and tells the browser to run no script that is not its own.
"""

from __future__ import annotations

from collections.abc import Callable

import flask
from jinja2 import BaseLoader, Environment

#: Names that a browser on this machine calls the server by.
HOSTS = ("127.0.0.1", "localhost")

#: Nothing from elsewhere, no script in the page, no frame around it; styles in the page are the ledger view's own.
POLICY = "; ".join(
    (
        "default-src 'self'",
        "script-src 'self' 'wasm-unsafe-eval'",
        "style-src 'self' 'unsafe-inline'",
        "img-src 'self' data: blob:",
        "object-src 'none'",
        "base-uri 'none'",
        "form-action 'self'",
        "frame-ancestors 'none'",
    )
)

HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "X-Frame-Options": "DENY",
}

_READING = frozenset({"GET", "HEAD", "OPTIONS"})
#: The largest request: one piece of a dropped file, or a source file that is edited.
REQUEST_BYTES = 32_000_000


class EscapingLoader(BaseLoader):
    """Templates of another loader, none of which switches the escaping of texts off."""

    def __init__(self, loader: BaseLoader) -> None:
        self.loader = loader

    def get_source(self, environment: Environment, template: str) -> tuple[str, str | None, Callable[[], bool] | None]:
        """The source of a template, with escaping left on throughout."""
        source, name, is_current = self.loader.get_source(environment, template)
        return source.replace("{% autoescape false %}", "{% autoescape true %}"), name, is_current


def guard(app: flask.Flask) -> None:
    """Put every guard around an application; before it answers anything else."""
    app.config["TRUSTED_HOSTS"] = list(HOSTS)
    app.config["MAX_CONTENT_LENGTH"] = REQUEST_BYTES
    assert app.jinja_loader is not None, "the application has templates"
    app.jinja_loader = EscapingLoader(app.jinja_loader)
    # first of all, before the ledger is looked at
    app.before_request_funcs.setdefault(None, []).insert(0, refuse_strangers)
    app.after_request(_add_headers)


def refuse_strangers() -> flask.Response | None:
    """Refuse a write that does not come from one of the server's own pages, a POST that is not JSON, and whatever another
    site asks for behind the person's back."""
    asked = flask.request
    host = asked.host  # a name that is not trusted is refused here
    site = asked.headers.get("Sec-Fetch-Site")
    if asked.method in _READING:
        # another site may link here, and nothing else: no picture, script or frame of it makes the program work
        is_linked = (
            asked.headers.get("Sec-Fetch-Mode") == "navigate" and asked.headers.get("Sec-Fetch-Dest") == "document"
        )
        if site in (None, "same-origin", "none") or is_linked:
            return None
        return _refusal("another site asked for it")
    origin = asked.headers.get("Origin")
    own = site == "same-origin" if origin is None else origin == f"{asked.scheme}://{host}"
    if not own or site not in (None, "same-origin"):
        return _refusal("this write does not come from a page of these books")
    if asked.method == "POST" and asked.mimetype != "application/json":
        return _refusal("a write has to be JSON")
    return None


def _refusal(why: str) -> flask.Response:
    problems = [{"where": "the request", "what": f"was refused: {why}", "next_step": "use the page in this browser"}]
    answer = flask.jsonify({"ok": False, "error": why, "problems": problems})
    answer.status_code = 403
    return answer


def _add_headers(response: flask.Response) -> flask.Response:
    for name, value in HEADERS.items():
        response.headers[name] = value
    if response.mimetype in ("text/html", "application/json"):
        response.headers["Cache-Control"] = "no-store"  # a page of figures is not kept by the browser
    return response
