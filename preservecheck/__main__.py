"""``python -m preservecheck``."""

from preservecheck.cli.main import main

main()
