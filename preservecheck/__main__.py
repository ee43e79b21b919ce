"""``python -m preservecheck``."""

from preservecheck.cli import main

main()
