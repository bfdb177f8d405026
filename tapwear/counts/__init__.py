"""Counts: from counter readings to operations, and to the dates by which a service interval is reached."""
