"""Two preservatives that close each other's gaps: every system with every other, those of the table
of pairs first."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from preservecheck.checks import with_lever
from preservecheck.ranking.base import BaseFormula
from preservecheck.ranking.candidate import Candidate, Shared
from preservecheck.ranking.standing import STANDINGS
from preservecheck.reference.rows import System
from preservecheck.verdict import Bools, Floats, Ints

# what a partner can answer
BY_PARTNER = frozenset(check.id for check in with_lever("partner"))
# partners that are judged in full for each system, and pairs for the formula
TRIED, SHOWN = 2, 6
# where a pair that no row of the table names is sorted in: behind the possible ones
UNNAMED = STANDINGS.index("possible") + 0.5


@dataclass(frozen=True)
class Pairs:
    """All pairs of some systems in a formula, before any is judged.

    Parameters
    ----------
    base
        The formula.
    tried
        Each system by itself, judged.
    shared
        Findings that no preservative has a part in.
    wanted
        Ids of the systems that may be in a pair.
    """

    base: BaseFormula
    tried: Sequence[Candidate]
    shared: Shared
    wanted: frozenset[str]

    @cached_property
    def may_pair(self) -> Bools:
        """Systems without a fault that no partner answers. (S,)"""
        return np.array(
            [c.system.id in self.wanted and not self._stuck(c) for c in self.tried], dtype=bool
        )

    def _stuck(self, candidate: Candidate) -> bool:
        others = {k: v for k, v in candidate.codes.items() if k not in BY_PARTNER}
        alone = replace(candidate, codes=others)
        return (
            candidate.present
            or candidate.displaces
            or alone.serious_beyond(self.shared.serious) > 0
        )

    @cached_property
    def sums(self) -> Floats:
        """What each system brings against each microbe. [sum of ratios] (S, M)"""
        each = np.array([c.sums for c in self.tried], dtype=float)
        return np.asarray(np.nan_to_num(each - self.base.alone.sums[0]))

    @cached_property
    def weakest(self) -> Floats:
        """Smallest sum of ratios of each pair. (S, S)"""
        before = np.nan_to_num(self.base.alone.sums[0])
        both = before + self.sums[:, None, :] + self.sums[None, :, :]
        return np.asarray(both.min(axis=-1))

    @cached_property
    def standing(self) -> Floats:
        """0 for a usual pair, one more for each step down. (S, S)"""
        out = np.full((len(self.tried),) * 2, UNNAMED)
        kind = self.base.kind.id if self.base.kind else None
        for row in self.base.tables.pairs:
            if row.kinds and kind not in row.kinds and row.standing != "avoid":
                continue
            first, second = self._side(row.first), self._side(row.second)
            step = STANDINGS.index(row.standing)
            for one, other in ((first, second), (second, first)):
                at = np.ix_(one, other)
                out[at] = np.minimum(out[at], step) if step <= 1 else np.maximum(out[at], step)
        return out

    def _side(self, keys: Collection[str]) -> Ints:
        """Systems that a side of a row names, by id or by what they hold."""
        return np.array(
            [
                n
                for n, c in enumerate(self.tried)
                if f"system:{c.system.id}" in keys
                or (len(_holds(c.system)) == 1 and not _holds(c.system).isdisjoint(keys))
            ],
            dtype=int,
        )

    @cached_property
    def apart(self) -> Bools:
        """Pairs without a substance in both, neither sold as one already. (S, S)"""
        forms = {a.inci: a.acid_form or a.inci for a in self.base.tables.actives}
        inside = [{forms.get(i, i) for i, _ in c.system.composition} - CARRIERS for c in self.tried]
        return np.array([[a.isdisjoint(b) for b in inside] for a in inside], dtype=bool)

    @cached_property
    def order(self) -> Floats:
        """What pairs are sorted by, the smallest first: whether enough is free, custom of the pair
        and of its halves, warnings, margin. (S, S)"""
        step = np.array([self.base.places[c.system.id].step for c in self.tried], dtype=float)
        open_ = np.array([len(c.open_beyond(self.shared.open)) for c in self.tried], dtype=float)
        short = (self.weakest < 1).astype(float)
        custom = self.standing + step[:, None] + step[None, :]
        # two blends of several actives each are more than a formulator puts in
        parts = np.array([len(_holds(c.system)) for c in self.tried], dtype=float)
        custom = custom + 0.5 * np.maximum(parts[:, None] + parts[None, :] - 3, 0)
        out = 1000 * short + 20 * custom + open_[:, None] + open_[None, :]
        out = out - np.minimum(self.weakest, 9.9) / 10
        can = self.may_pair[None, :] & self.apart
        can &= self.standing < STANDINGS.index("avoid")
        return np.where(can, out, np.inf)

    def partners_of(self, n: int) -> list[Candidate]:
        """A system with the partners that promise most, not judged yet."""
        order = self.order[n]
        first = [int(m) for m in np.argsort(order, kind="stable")[:TRIED] if np.isfinite(order[m])]
        return [self._pair(n, m) for m in first]

    def best(self) -> list[Candidate]:
        """The pairs that promise most in this formula, not judged yet."""
        both = np.triu(self.may_pair[:, None] & self.may_pair[None, :], 1)
        upper = np.where(both, self.order, np.inf)
        flat = np.argsort(upper, axis=None, kind="stable")[:SHOWN]
        places = [np.unravel_index(int(i), upper.shape) for i in flat]
        return [self._pair(int(n), int(m)) for n, m in places if np.isfinite(upper[n, m])]

    def standing_of(self, pair: Candidate) -> str:
        """How usual a pair is, in a word."""
        places = {c.system.id: n for n, c in enumerate(self.tried)}
        partner = pair.partner.id if pair.partner else pair.system.id
        step = self.standing[places[pair.system.id], places[partner]]
        return "unlisted" if step == UNNAMED else STANDINGS[int(step)]

    def _pair(self, n: int, m: int) -> Candidate:
        one, other = self.tried[n], self.tried[m]
        return replace(
            one,
            partner=other.system,
            partner_percent=other.percent,
            cooler=one.cooler or other.cooler,
            codes={},
            sums=None,
        )


CARRIERS = frozenset(("Aqua", "Glycerin", "Propylene Glycol", "Propanediol", "Butylene Glycol"))


def _holds(system: System) -> frozenset[str]:
    return frozenset(f"inci:{i}" for i, _ in system.composition if i not in CARRIERS)


def needs_partner(candidate: Candidate, shared: Shared) -> bool:
    """Whether a candidate has a serious finding, and none that a partner could not answer."""
    rest = {k: v for k, v in candidate.codes.items() if k not in BY_PARTNER}
    return (
        candidate.serious_beyond(shared.serious) > 0
        and replace(candidate, codes=rest).serious_beyond(shared.serious) == 0
        and not candidate.present
    )
