"""Account names: how categories, sources and jurisdictions become parts that beancount takes."""

import tomllib

import pytest
from beancount.parser import parser
from hypothesis import given
from hypothesis import strategies as st

from ledger_tools.accounts import (
    ACCOUNT_PATTERN,
    ROLES,
    ROLES_BY_NAME,
    account_name,
    account_part,
    jurisdiction_part,
    name_accounts,
)
from ledger_tools.errors import LedgerError


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("Wall art", "WallArt"),
        ("card-processor", "CardProcessor"),
        ("T-shirts", "TShirts"),
        ("  mugs  ", "Mugs"),
        ("3d prints", "3dPrints"),
        ("a/b\\c", "ABC"),
        ("x\n2031-01-01 open Assets:Evil", "X20310101OpenAssetsEvil"),
        ("'; DROP TABLE posting;--", "DROPTABLEPosting"),
        ("übertöpfe", "Übertöpfe"),
        ("🎁", "Other"),
        ("\u202e", "Other"),
        ("", "Other"),
        ("حقائب", "Xحقائب"),
    ],
)
def test_part_of_a_category(text: str, part: str) -> None:
    """A category is split at what is no letter or digit, capitalised and joined."""
    assert part == account_part(text)


@pytest.mark.parametrize(
    ("text", "part"),
    [
        ("US-CO", "US-CO"),
        ("us-co", "Us-co"),
        ("US-CO-Denver County", "US-CO-Denver-County"),
        ("", "Unknown"),
        ("日本", "Unknown"),
        ("-US-", "US"),
    ],
)
def test_part_of_a_jurisdiction(text: str, part: str) -> None:
    """A jurisdiction keeps its hyphens; everything unusual is folded."""
    assert part == jurisdiction_part(text)


@given(st.text(max_size=40))
def test_any_text_gives_a_name_that_beancount_takes(text: str) -> None:
    """Whatever a shop calls a category or jurisdiction, the account's name can be opened."""
    names = [
        account_name(ROLES_BY_NAME[role], ROLES_BY_NAME[role].default, text) for role in ("sales", "sales_tax", "bank")
    ]
    directives, errors, _ = parser.parse_string("".join(f"2031-01-01 open {name}\n" for name in names))
    assert [] == errors
    assert names == [directive.account for directive in directives]  # type: ignore[union-attr]


def test_default_names_are_account_names() -> None:
    """Every role's default is a name that the settings would take, and no two roles share one."""
    assert [] == [role.name for role in ROLES if not ACCOUNT_PATTERN.match(role.default.replace("{}", "X"))]
    assert len(ROLES) == len({role.default for role in ROLES})


def test_parameters_that_fold_alike_are_told() -> None:
    """Two parameters of one name are an error for each of the later ones."""
    with pytest.raises(LedgerError) as caught:
        name_accounts(ROLES_BY_NAME["bank"], "Assets:Bank:{}", ["my-bank", "my_bank", "mybank"], {})
    assert 1 == len(caught.value.problems)
    assert "'my-bank' and 'my_bank' both give Assets:Bank:MyBank" in str(caught.value)


@pytest.mark.parametrize("pair", [('US-"', "US-!"), ("US-\\", "US-/"), ("US-\x7f", "US-~"), ("a\tb", "a\x01b")])
def test_advice_is_toml(pair: tuple[str, str]) -> None:
    """The line that is advised for names that fold alike is TOML whose key is the name, quotes and all."""
    with pytest.raises(LedgerError) as caught:
        name_accounts(ROLES_BY_NAME["sales_tax"], "Liabilities:SalesTax:{}", pair, {})
    line = (
        caught.value.problems[0].next_step.removeprefix("name them apart: add a line ").removesuffix(" under [names]")
    )
    assert {max(pair): "AnotherName"} == tomllib.loads(line)


def test_renamed_parameter() -> None:
    """A parameter's own name in the settings stands in the account, made into a part like any other."""
    names = name_accounts(ROLES_BY_NAME["bank"], "Assets:Bank:{}", ["a", "b"], {"a": "main account"})
    assert {"a": "Assets:Bank:MainAccount", "b": "Assets:Bank:B"} == names
