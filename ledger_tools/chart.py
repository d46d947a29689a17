"""The accounts of one set of books: every role and parameter that occurs, with its name and number."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

import duckdb

from ledger_tools.accounts import OWN_RESULT, REASON_ROLES, ROLES, ROLES_BY_NAME, account_name, name_accounts
from ledger_tools.settings import ShopSettings


def reason_accounts(settings: ShopSettings) -> dict[str, str]:
    """Account of each reason that a wallet charge can have; the settings come before the usual ones."""
    usual = {reason: settings.template_of(role) for reason, role in REASON_ROLES.items()}
    return {**usual, **{reason.strip().lower(): account for reason, account in settings.reasons.items()}}


def own_accounts(settings: ShopSettings) -> dict[str, str]:
    """Name of the bank account or card of each source of the kind bank, by source."""
    return {
        source.name: account_name(
            ROLES_BY_NAME[source.role], settings.template_of(source.role), settings.names.get(source.name, source.name)
        )
        for source in settings.source
        if source.kind == "bank"
    }


def list_accounts(
    connection: duckdb.DuckDBPyConnection,
    settings: ShopSettings,
    parameters: Mapping[str, set[str]],
    more: Iterable[str],
) -> None:
    """Fill `account` and `account_use`: the chart's fixed accounts, one for each parameter in use, the rules' own, and `more` by name.

    Raises:
        LedgerError: two parameters give one account name.
    """
    rows: list[tuple[str, str, str]] = []
    main_role: dict[str, str] = {}
    for role in ROLES:
        template = settings.template_of(role.name)
        if role.has_parameter:
            used = set(parameters.get(role.name, set()))
            if role.name in ("bank", "card", "processor", "wallet"):
                used |= {source.name for source in settings.source if source.role == role.name}
                used -= {source.name for source in settings.source if source.role != role.name}
            named = name_accounts(role, template, used, settings.names)
            # postings of a card are those of any bank account: its use is the bank's, only the account is another
            use = "bank" if role.name == "card" else role.name
            main_role.update(dict.fromkeys(named.values(), role.name))
            rows += [(name, use, parameter) for parameter, name in sorted(named.items())]
        else:
            rows.append((account_name(role, template, None), role.name, ""))
    rows += [(rule.account, "rule", str(place)) for place, rule in enumerate(settings.bank_rule, start=1)]
    rows += [(account, "reason", reason) for reason, account in sorted(reason_accounts(settings).items())]
    rows += [(name, "decided", name) for name in sorted(parameters.get("decided", set()))]
    rows += [(name, "hand", name) for name in sorted(set(more))]
    numbers: dict[str, int] = {}
    for name, role_name, _ in rows:
        numbers.setdefault(name, len(numbers) + 1)
        is_result = role_name not in ROLES_BY_NAME and name.startswith(("Income:", "Expenses:"))
        main_role.setdefault(name, OWN_RESULT if is_result else role_name)
    connection.execute(
        "INSERT INTO account SELECT unnest(?::SMALLINT[]), unnest(?::VARCHAR[]), unnest(?::VARCHAR[])",
        [list(numbers.values()), list(numbers), [main_role[name] for name in numbers]],
    )
    connection.execute(
        "INSERT INTO account_use SELECT unnest(?::VARCHAR[]), unnest(?::VARCHAR[]), unnest(?::SMALLINT[])",
        [[row[1] for row in rows], [row[2] for row in rows], [numbers[row[0]] for row in rows]],
    )
