"""What all pages share in the browser: the style, the script, the name of the build that is shown, and progress."""

from __future__ import annotations

from pathlib import Path

import flask
from fava.ext import FavaExtensionBase

from ledger_tools.web.ledger import BooksLedger
from ledger_tools.web.page import answers_at

_STYLE = Path(__file__).parent / "pages.css"


class Pages(FavaExtensionBase):
    """No page of its own: carries the script (`Pages.js`) and what it asks for."""

    ledger: BooksLedger
    has_js_module = True

    @answers_at("pages.css")
    def style(self) -> flask.Response:
        """The style of all pages."""
        return flask.send_file(_STYLE, mimetype="text/css", max_age=3600)

    @answers_at("now")
    def now(self) -> flask.Response:
        """The build that is shown, and what the program is doing."""
        desk = self.ledger.desk
        return flask.jsonify({"build": desk.build_name(), "stage": desk.stage.text})
