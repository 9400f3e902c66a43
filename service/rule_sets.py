"""Rule sets by name: those that are built in, and those of the farm file."""

from __future__ import annotations

from sqlalchemy import Connection, select

from alerts.rules import WindowRule
from service.farm.rule_tables import RuleTable, make_rules
from service.store import tables


def fetch_rule_tables(connection: Connection) -> dict[str, RuleTable]:
    """Return the active rule sets of the farm file as it says them."""
    query = select(tables.rule.c.name, tables.rule.c.spec).where(tables.rule.c.retired_at.is_(None))
    return {name: RuleTable.model_validate(spec) for name, spec in connection.execute(query)}


def fetch_rules(connection: Connection) -> dict[str, WindowRule]:
    """Return every rule set that a block may follow."""
    return make_rules(fetch_rule_tables(connection))
