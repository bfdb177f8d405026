"""Visits: reading what people wrote, in their own headings and units, into clean rows and findings."""
