"""Store: one SQLite file that keeps the register, the visits and the plans, append-only."""
