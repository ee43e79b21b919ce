"""Reports: one module per format, each with ``render(report) -> str``; ``outline`` holds the order
that all share."""
