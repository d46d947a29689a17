"""The page of the accountant's packet: choose a period, build, download."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import duckdb
import flask

from ledger_tools.calendar import Period, parse_month, parse_quarter, parse_year, period_name
from ledger_tools.closed import read_closed_months, read_reopenings
from ledger_tools.errors import LedgerError, Problem
from ledger_tools.packet.contents import make_packet
from ledger_tools.packet.delivery import write_archive
from ledger_tools.web.page import BooksPage, answers_at, asked_period, find_problems, known_months, tells_json


@dataclass(frozen=True)
class PacketView:
    """What the page shows; `built` are the packets of this session, as (name of the link, file name, bytes)."""

    periods: tuple[tuple[str, tuple[str, ...]], ...]
    chosen: str
    built: tuple[tuple[str, str, int], ...]


def _named_period(text: str) -> Period:
    parse = parse_quarter if "Q" in text.upper() else parse_month if "-" in text else parse_year
    return parse(text)


class Packet(BooksPage):
    """What the accountant gets."""

    report_title = "Accountant's packet"
    lead = "Workbook, tables and journal of a month, quarter or year, in one file."

    def view(self, connection: duckdb.DuckDBPyConnection) -> PacketView:
        """The periods to choose from, and what was built."""
        months = known_months(connection)
        quarters = tuple(dict.fromkeys(f"{month[:4]}-Q{(int(month[5:]) + 2) // 3}" for month in months))
        years = tuple(dict.fromkeys(month[:4] for month in months))
        asked = asked_period()
        built = tuple(
            (name, file.name, file.stat().st_size) for name, file in reversed(self.desk.waiting.packets.items())
        )
        return PacketView(
            (("Months", months), ("Quarters", quarters), ("Years", years)),
            "" if asked.first is None else period_name(asked),
            built,
        )

    @answers_at("build")
    @tells_json
    def build(self, asked: Mapping[str, Any]) -> dict[str, Any]:
        """Build a packet aside; the books stay as they are, so a read-only view may as well."""
        period = _named_period(str(asked.get("period", "")))
        waiting, stage = self.desk.waiting, self.desk.stage.tell
        with self.desk.books() as connection:
            packet = make_packet(
                connection, period, period_name(period), period_name, stage, read_closed_months(self.desk.folder),
                read_reopenings(self.desk.folder),
            )  # fmt: skip
            place = waiting.packet_folder()
            file = write_archive(place, packet, connection, self.desk.folder, stage)
        waiting.packets[place.name] = file
        told = packet.standing.state if packet.standing.is_draft else f"{packet.standing.name} is closed."
        if packet.broken_checks:
            told += f" {packet.broken_checks} check(s) are not zero: see the sheet Check."
        return {"message": f"{file.name} is ready. {told}", "go": self.page_link(self.name)}

    @answers_at("download")
    def download(self) -> flask.Response:
        """One of the packets that were built."""

        def find() -> flask.Response:
            file = self.desk.waiting.packets.get(flask.request.args.get("packet", ""))
            if file is None:
                raise LedgerError(Problem("the packet", "is not here any more", "build it again"))
            return flask.send_file(file, as_attachment=True, download_name=file.name)

        answer = find_problems(find)
        if answer.problems:
            return flask.Response(str(answer.problems[0]), 404, mimetype="text/plain")
        response: flask.Response = answer.view
        return response
