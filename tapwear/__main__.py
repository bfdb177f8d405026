"""`python -m tapwear` is the same as `tapwear`."""

from tapwear.cli import main

main()
