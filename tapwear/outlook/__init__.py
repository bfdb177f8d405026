"""Outlook: one date range per unit and service rule, merged from operations, calendar and oil."""
