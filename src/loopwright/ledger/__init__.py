"""Refrigerant accounting as pure values and invariants: no database, no clock, no units but milligrams.

`values` are the facts; `prepare` makes the next entry of a `Draft` or names everything that is wrong with it; `Books`
derives what accounts hold; `audit` verifies a chain; `reconcile` sets a weighing against the books.
"""

from loopwright.ledger.audit import Finding, Report, audit
from loopwright.ledger.books import Books, View
from loopwright.ledger.chain import GENESIS, Head
from loopwright.ledger.names import moment, refrigerant_name
from loopwright.ledger.post import Posting, prepare
from loopwright.ledger.reconcile import Reconciliation, Standing, Statement, Summary, reconcile, summarise
from loopwright.ledger.values import (
    Account,
    Amended,
    Balance,
    Cylinder,
    Draft,
    Entry,
    Equipment,
    Leg,
    Moved,
    Opened,
    Operator,
    Registered,
    Reversed,
    Weighed,
)

__all__ = [
    "GENESIS",
    "Account",
    "Amended",
    "Balance",
    "Books",
    "Cylinder",
    "Draft",
    "Entry",
    "Equipment",
    "Finding",
    "Head",
    "Leg",
    "Moved",
    "Opened",
    "Operator",
    "Posting",
    "Reconciliation",
    "Registered",
    "Report",
    "Reversed",
    "Standing",
    "Statement",
    "Summary",
    "View",
    "Weighed",
    "audit",
    "moment",
    "prepare",
    "reconcile",
    "refrigerant_name",
    "summarise",
]
