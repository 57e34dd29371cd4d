"""``python -m loganalyze``."""

from loganalyze.cli import main

main()
