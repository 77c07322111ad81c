"""What an owner keeps over the years, as values: ledger, maintenance, recency, costs. Pure; the store is another room."""
