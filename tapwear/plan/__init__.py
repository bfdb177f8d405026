"""Plan: overhauls that are due, placed into weeks that stations and crews can spare."""
