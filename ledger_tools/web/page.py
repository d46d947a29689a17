"""What every page does alike: open the books, know the period, make links, and say in sentences what is wrong."""

from __future__ import annotations

import datetime
import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any, ClassVar, TypeVar, cast

import duckdb
import flask
from fava.application import url_for
from fava.ext import FavaExtensionBase, extension_endpoint
from fava.util.date import parse_date

from ledger_tools.calendar import ALL_TIME, Period, month_end, next_month
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.open_items import last_known_day
from ledger_tools.trouble import database_problem, file_problem
from ledger_tools.web.desk import Desk
from ledger_tools.web.ledger import BooksLedger


@dataclass(frozen=True)
class Told:
    """What a page has to say: its view, or why there is none."""

    view: Any
    problems: tuple[Problem, ...] = ()


def find_problems(work: Callable[[], Any]) -> Told:
    """Do some work for a page; what files, settings or the database refuse becomes sentences."""
    try:
        return Told(work())
    except LedgerError as trouble:
        return Told(None, tuple(trouble.problems))
    except OSError as trouble:
        return Told(None, (file_problem(trouble),))
    except duckdb.Error as trouble:
        return Told(None, (database_problem(trouble),))


class BooksPage(FavaExtensionBase):
    """One page of ours in Fava; a subclass makes its view, its template shows it."""

    ledger: BooksLedger

    #: One sentence under the heading.
    lead: ClassVar[str] = ""

    @property
    def desk(self) -> Desk:
        """The books that are shown, and to whom."""
        return self.ledger.desk

    def view(self, connection: duckdb.DuckDBPyConnection) -> Any:
        """What the template shows, worked out while the books are open.

        Raises:
            LedgerError: what was asked for is not there.
        """
        raise NotImplementedError

    def told(self) -> Told:
        """The view, or what is wrong, for the template."""

        def work() -> Any:
            with self.desk.books() as connection:
                return self.view(connection)

        return find_problems(work)

    def page_link(self, page: str, /, **parameters: str | None) -> str:
        """Address of one of our pages, with the period that is looked at; a parameter that is None is left out."""
        values = {"account": None, "filter": None, **parameters}
        return url_for("extension_report", extension_name=page, **values)  # type: ignore[arg-type]

    def endpoint_link(self, endpoint: str, /, **parameters: str | None) -> str:
        """Address of an endpoint of this page."""
        address, mark, query = self.page_link(self.name, **parameters).partition("?")
        return f"{address}{endpoint}{mark}{query}"

    def here(self, **changes: str | None) -> str:
        """Address of this page as it is, with some parameters changed, or left out where they are None."""
        kept = {name: text for name, text in flask.request.args.items() if name != "partial"}
        return self.page_link(self.name, **{**kept, **changes})


def asked_period() -> Period:
    """The period of Fava's time filter, which all pages share; all time where none is set.

    Raises:
        LedgerError: the filter's text is no period.
    """
    text = flask.request.args.get("time", "").strip()
    if not text:
        return ALL_TIME
    begin, end = parse_date(text)
    if begin is None or end is None:
        raise LedgerError(
            Problem(f"time filter {text!r}", "is no period", "write a month 2031-04, a quarter 2031-Q2 or a year 2031")
        )
    return Period(begin, end - datetime.timedelta(days=1))


def asked_month(connection: duckdb.DuckDBPyConnection) -> Period:
    """The month that the time filter lies in, by its last day; else the month of the last day that is known.

    Raises:
        LedgerError: the filter's text is no period.
    """
    period = asked_period()
    day = period.last or last_known_day(connection)
    return ALL_TIME if day is None else Period(day.replace(day=1), month_end(day))


def month_name(period: Period) -> str:
    """A month as the time filter writes it: 2031-04."""
    return f"{period.first:%Y-%m}" if period.first else ""


def month_before(period: Period) -> Period:
    """The month before a month."""
    assert period.first is not None, "a month has a first day"
    last = period.first - datetime.timedelta(days=1)
    return Period(last.replace(day=1), last)


def known_months(connection: duckdb.DuckDBPyConnection) -> tuple[str, ...]:
    """Every month from the first posting to the last known day, the newest first."""
    row = connection.execute("SELECT min(posted_on) FROM event").fetchone()
    first, last = row[0] if row else None, last_known_day(connection)
    if first is None or last is None:
        return ()
    months, day = [], first.replace(day=1)
    while day <= last:
        months.append(f"{day:%Y-%m}")
        day = next_month(day)
    return tuple(reversed(months))


Endpoint = TypeVar("Endpoint", bound=Callable[..., flask.Response])


def answers_at(name: str, method: str = "GET") -> Callable[[Endpoint], Endpoint]:
    """Make a method of a page answer at its address and this name."""
    return cast(Callable[[Endpoint], Endpoint], extension_endpoint(name, [method]))


#: An endpoint that takes a JSON object and gives one back.
Work = TypeVar("Work", bound=Callable[[Any, Mapping[str, Any]], dict[str, Any]])


def takes_json(work: Work) -> Callable[[Any], flask.Response]:
    """A write: reads the JSON that was sent and answers in JSON, also where something is wrong."""

    @functools.wraps(work)
    def endpoint(page: BooksPage) -> flask.Response:
        sent = flask.request.get_json(silent=True)

        def told() -> dict[str, Any]:
            if page.desk.read_only:
                raise LedgerError(
                    Problem("this view", "is read-only", "start it without --read-only: ledger-tools view")
                )
            if not isinstance(sent, dict):
                raise LedgerError(Problem("the request", "holds no JSON object", "use the form on the page"))
            return work(page, sent)

        return _json_answer(page, told)

    return endpoint


def tells_json(work: Work) -> Callable[[Any], flask.Response]:
    """A question that changes no books: takes what stands in the address and answers in JSON."""

    @functools.wraps(work)
    def endpoint(page: BooksPage) -> flask.Response:
        return _json_answer(page, lambda: work(page, flask.request.args))

    return endpoint


def _json_answer(page: BooksPage, work: Callable[[], dict[str, Any]]) -> flask.Response:
    try:
        answer = find_problems(work)
    finally:
        page.desk.stage.tell("")
    if not answer.problems:
        return flask.jsonify({"ok": True, **answer.view})
    response = flask.jsonify({"ok": False, "problems": [problem_parts(problem) for problem in answer.problems]})
    response.status_code = 422
    return response


def problem_parts(problem: Problem) -> dict[str, str]:
    """A problem as its three parts."""
    return {"where": problem.where, "what": problem.what, "next_step": problem.next_step}


def sent_text(sent: Mapping[str, Any], name: str, *, needed: str = "") -> str:
    """A text that was sent, without blanks around it; `needed` says what to do where it is missing.

    Raises:
        LedgerError: it is no text, or missing and needed.
    """
    value = sent.get(name, "")
    if value is None:
        value = ""
    if not isinstance(value, str):
        raise LedgerError(Problem(name, "is not a text", "use the form on the page"))
    if needed and not value.strip():
        raise LedgerError(Problem(name, "is empty", needed))
    return value.strip()
