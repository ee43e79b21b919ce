"""Many formulas against their own or all systems: the same compute and judge as a review, on
arrays.

``screen_frame`` is a pure function of a data frame: it may be mapped over the partitions of any
engine, as long as the lines of a formula stand in one partition.
"""

from __future__ import annotations

from preservecheck.screen.frame import screen_frame
from preservecheck.screen.schema import LINES, PRODUCTS

__all__ = ["LINES", "PRODUCTS", "screen_frame"]
