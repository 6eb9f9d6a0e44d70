"""The shop's records: tables, transactions, numbers and the audit trail. No rules."""
