"""The file of decisions: what a person or an editor put around the decisions stays, and nothing is left of what is taken back."""

from __future__ import annotations

import codecs
import datetime
from pathlib import Path

import pytest

from ledger_tools.decisions import Decision, add_decisions, read_decisions, withdraw_decision
from ledger_tools.errors import LedgerError

DAY = datetime.date(2031, 4, 2)


def decision(item: str, action: str = "accept", **more: str) -> Decision:
    """A decision about an item."""
    about = {"item": item, "kind": "payout-not-in-bank", "action": action, "reason": "so", "by": "Ada"}
    return Decision.model_validate({**about, "decided_on": DAY, "item_date": DAY, **more})


@pytest.mark.parametrize("mark", [b"", codecs.BOM_UTF8], ids=["plain", "with a byte-order mark"])
@pytest.mark.parametrize("line_end", [b"\n", b"\r\n"], ids=["LF", "CRLF"])
def test_what_an_editor_wrote_stays(mark: bytes, line_end: bytes, tmp_path: Path) -> None:
    """A byte-order mark, line ends and comments are as before once a decision has come and gone."""
    file = tmp_path / "decisions.toml"
    before = mark + b"# mine, \xc3\xa4sthetic" + line_end
    file.write_bytes(before)
    add_decisions(file, [decision("0000aaaa")])
    add_decisions(file, [decision("0000bbbb")])
    content = file.read_bytes()
    assert content.startswith(before)
    assert content.count(b"\n") == content.count(line_end)
    assert ["0000aaaa", "0000bbbb"] == [one.item for one in read_decisions(file)]
    withdraw_decision(file, "0000bbbb")
    withdraw_decision(file, "0000aaaa")
    assert before == file.read_bytes()


def test_a_file_of_ours_goes_again(tmp_path: Path) -> None:
    """Where there was no file there is none once the only decision is taken back; with a comment of a person's it stays."""
    file = tmp_path / "decisions.toml"
    add_decisions(file, [decision("0000aaaa")])
    withdraw_decision(file, "0000aaaa")
    assert not file.exists()
    add_decisions(file, [decision("0000aaaa")])
    file.write_text("# asked the bank\n" + file.read_text(encoding="utf-8"), encoding="utf-8")
    withdraw_decision(file, "0000aaaa")
    assert file.read_text(encoding="utf-8").startswith("# asked the bank\n")


@pytest.mark.parametrize("gone", ["0000aaaa", "0000bbbb", "0000cccc"])
def test_comments_between_decisions_stay(gone: str, tmp_path: Path) -> None:
    """Whichever decision is taken back, every comment around the others is still there, and in its place."""
    file = tmp_path / "decisions.toml"
    comments = ["# on the first", "# Note on the fee: agreed by phone", "# on the third", "# at the end"]
    for comment, item in zip(comments, ["0000aaaa", "0000bbbb", "0000cccc"], strict=False):
        text = file.read_text(encoding="utf-8") if file.is_file() else ""
        file.write_text(f"{text}{comment}\n", encoding="utf-8")
        add_decisions(file, [decision(item)])
    file.write_text(file.read_text(encoding="utf-8") + "# at the end\n", encoding="utf-8")
    withdraw_decision(file, gone)
    lines = file.read_text(encoding="utf-8").splitlines()
    assert comments == [line for line in lines if line.startswith("#")]
    assert 2 == lines.count("[[decision]]")


def test_a_beginning_of_an_id_is_enough(tmp_path: Path) -> None:
    """A decision is taken back by a beginning of its item's id that no other decided item shares."""
    file = tmp_path / "decisions.toml"
    for item in ("12ab0000", "12cd0000"):
        add_decisions(file, [decision(item)])
    with pytest.raises(LedgerError, match="begins 2 decided ids: 12ab0000, 12cd0000"):
        withdraw_decision(file, "12")
    assert ("12ab0000",) == tuple(one.item for one in withdraw_decision(file, "12a"))
    with pytest.raises(LedgerError, match="is not decided"):
        withdraw_decision(file, "12a")


def test_an_item_is_matched_several_times_and_decided_once_more(tmp_path: Path) -> None:
    """Matches of one item with several records stand together; what is left of it is decided last and taken back first."""
    file = tmp_path / "decisions.toml"
    first, second = (decision("0000aaaa", "match", match_source="checking", match_id=key) for key in ("l-1", "l-2"))
    add_decisions(file, [first, second])
    for again in (second, decision("0000bbbb", "accept"), decision("0000aaaa", "accept")):
        if again is second:
            with pytest.raises(LedgerError, match="is decided already"):
                add_decisions(file, [again])
        else:
            add_decisions(file, [again])
    with pytest.raises(LedgerError, match="is decided already"):
        add_decisions(file, [decision("0000aaaa", "match", match_source="checking", match_id="l-3")])
    assert ["accept"] == [one.action for one in withdraw_decision(file, "0000aaaa")]
    assert ["l-1", "l-2"] == [one.match_id for one in withdraw_decision(file, "0000aaaa")]
    assert ["0000bbbb"] == [one.item for one in read_decisions(file)]


def test_one_of_several_that_is_decided_keeps_all_out(tmp_path: Path) -> None:
    """Of several decisions one of which is made already none is written."""
    file = tmp_path / "decisions.toml"
    known = decision("0000aaaa", "match", match_source="checking", match_id="l-1")
    add_decisions(file, [known])
    before = file.read_bytes()
    with pytest.raises(LedgerError, match="is decided already"):
        add_decisions(file, [decision("0000bbbb"), known])
    assert before == file.read_bytes()


ONE = 'item = "0123abcd"\nkind = "amended"\naction = "accept"\nreason = "r"\nby = "b"\ndecided_on = 2031-04-01\nitem_date = 2031-04-01\n'


@pytest.mark.parametrize(
    ("text", "form"),
    [
        pytest.param(f"# mine\n\n[decision]\n{ONE}", "one table", id="single table"),
        pytest.param(
            "decision = [{" + ONE.strip().replace("\n", ", ") + "}]\n", "a value behind an equals sign", id="inline"
        ),
        pytest.param("# mine\ndecision = []\n", "a value behind an equals sign", id="empty"),
        pytest.param("decision = 1\n", "a value behind an equals sign", id="number"),
    ],
)
def test_a_form_that_can_not_grow_is_refused(text: str, form: str, tmp_path: Path) -> None:
    """What the program could not add to is refused when it is read, with what to write instead, and stays as it is."""
    file = tmp_path / "decisions.toml"
    file.write_text(text, encoding="utf-8")
    told = rf"decisions\.toml, decision: is {form}, to which no other .*begins with the line \[\[decision\]\]"
    for act in (lambda: read_decisions(file), lambda: add_decisions(file, [decision("0000aaaa")])):
        with pytest.raises(LedgerError, match=f"(?s){told}"):
            act()
    assert text == file.read_text(encoding="utf-8")


@pytest.mark.parametrize(
    "head", ["[[decision]]", "\t[[ decision ]] # so", '[["decision"]]', "# decision = [\r\n\r\n[[decision]]"]
)
def test_a_table_of_its_own_may_be_written_in_any_way(head: str, tmp_path: Path) -> None:
    """However a person writes the head of a decision, another is added below it and both are read."""
    file = tmp_path / "decisions.toml"
    file.write_text(f"{head}\n{ONE}", encoding="utf-8", newline="")
    add_decisions(file, [decision("0000aaaa")])
    assert ["0123abcd", "0000aaaa"] == [one.item for one in read_decisions(file)]
    withdraw_decision(file, "0123abcd")
    assert ["0000aaaa"] == [one.item for one in read_decisions(file)]


def test_what_would_not_read_back_is_not_written(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the new text does not hold the decisions that it shall, the file keeps its bytes."""
    import tomlkit

    file = tmp_path / "decisions.toml"
    add_decisions(file, [decision("0000aaaa")])
    before = file.read_bytes()
    monkeypatch.setattr(tomlkit, "dumps", lambda document: before.decode())
    with pytest.raises(LedgerError, match="would not read back as it was written"):
        add_decisions(file, [decision("0000bbbb")])
    assert (before, ["decisions.toml"]) == (file.read_bytes(), [each.name for each in tmp_path.iterdir()])
