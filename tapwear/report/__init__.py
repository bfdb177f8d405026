"""Report: results made readable, on a screen, on paper and in the programs that people use."""
