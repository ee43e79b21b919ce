"""What every table row has: where it comes from and how far to trust it."""

from __future__ import annotations

from typing import Literal

from preservecheck.reference.columns import Record, choice, slug, text

Basis = Literal["published", "memory", "practice"]
YesNo = Literal["yes", "no"]
Market = Literal["EU", "GB", "US", "CA", "JP", "ASEAN"]
Rating = Literal["strong", "moderate", "weak", "none"]
Group = Literal["gram-positive", "gram-negative", "yeast", "mould"]
Shares = tuple[tuple[str, float], ...]
Names = tuple[str, ...]


class Row(Record):
    """What every table row has, after its own columns."""

    source: str = text(needed=True)
    locator: str | None = text()
    basis: Basis = choice(Basis, needed=True)
    recalled: str | None = text()
    note: str | None = text()


SourceKind = Literal[
    "law",
    "standard",
    "paper",
    "book",
    "data set",
    "software",
    "authority page",
    "page",
    "supplier paper",
    "forum",
    "practice",
    "estimate",
    "memory",
]


class Source(Record):
    """A publication, page, data set or stated habit that rows refer to."""

    id: str = slug()
    authors: str | None = text()
    year: str | None = text()
    title: str = text(needed=True)
    container: str | None = text()
    address: str | None = text()  # DOI or public address, no web shop
    kind: SourceKind = choice(SourceKind, needed=True)

    @property
    def citation(self) -> str:
        """The source in one line."""
        parts = [self.authors, self.year, self.title, self.container, self.address]
        return ", ".join(p for p in parts if p)
