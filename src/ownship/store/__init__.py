"""The owner's record on disk: append-only entries, backup, restore, export. Nothing is computed here."""
