"""The plan: the shortest list of remedies that together mend all that can be mended.

How it is found:

1. The levers of the base and the bench are tried one by one (a finer scale, another gum, a
   chelator, a cooler addition); one that mends something and makes nothing worse is kept.
2. The pH and the dose are tried alone and together, each at its aim; the mildest that mends most is
   kept. Where a serious fault stays, a partner is tried.
3. Where a serious fault stays even so, or where two and more independent cautions point at the
   preservative itself, another system is tried in its place, in the order of what is usual in that
   kind of product; then steps 1 and 2 again.
4. What can be left out without loss is left out.

Every set of edits is applied to a copy and judged by the checks of the review.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.checks import BY_ID
from preservecheck.formula.compose import Composition
from preservecheck.formula.edit import Edit, Remove, SetPh, at_ph, without_preservatives
from preservecheck.formula.model import Formula
from preservecheck.plan import doses, levers
from preservecheck.plan.levers import Lever, Option
from preservecheck.plan.others import others_for
from preservecheck.plan.targets import (
    Clash,
    Custom,
    PhGrid,
    Target,
    clash_of,
    custom_of,
    ph_grid,
    ph_target,
)
from preservecheck.plan.trials import Key, Trials, Wrong
from preservecheck.verdict import PASS, SERIOUS

# independent cautions against a preservative that call for another one; common practice
CAUTIONS_FOR_ANOTHER = 2
# systems that are tried in the place of one that does not do
OTHERS_TRIED = 6
# and of these the ones that the other levers are tried with
OTHERS_FINISHED = 3
# what a change costs the maker, against one finding that stays; judgement of this program
COST = {
    Lever.SCALE: 0.1,
    Lever.BASE: 2.0,
    Lever.CHELATOR: 0.5,
    Lever.TEMPERATURE: 0.2,
    Lever.REMOVE: 0.0,
    Lever.PRESERVATIVE: 0.1,
    Lever.PARTNER: 0.5,
    Lever.PH: 0.6,
}
_FINDING = 10.0
_NOISE = 1e-9
Options = Mapping[Lever, Option]
Edits = tuple[Edit, ...]


@dataclass(frozen=True)
class Step:
    """Edits that a maker makes in one go, and what they mend."""

    edits: tuple[Edit, ...]
    mends: tuple[Key, ...]


@dataclass(frozen=True)
class Plan:
    """Steps in the order of the work, what is left after them, and the aims."""

    steps: tuple[Step, ...]
    before: Wrong
    after: Wrong
    formula: Formula  # with the steps made
    ph: Target | None
    clash: Clash | None = None
    # how single findings are mended: the fewest edits that do it and worsen nothing
    mended_by: Mapping[Key, tuple[Edit, ...]] = field(default_factory=dict)

    @property
    def edits(self) -> tuple[Edit, ...]:
        """All edits in order."""
        return tuple(edit for step in self.steps for edit in step.edits)


@dataclass
class _Draft:
    """A plan in the making: at most one set of edits a lever."""

    options: dict[Lever, Option]
    wrong: Wrong  # with the options made

    @property
    def cost(self) -> float:
        """What is wrong after it, then how much is to be changed."""
        return self.wrong.weight * _FINDING + _cost(self.options)

    def with_(self, options: Iterable[Option]) -> Edits:
        """All edits, in the order of the work, with options that take the place of others."""
        return _edits(self.options | {o.lever: o for o in options})


def _cost(options: Options) -> float:
    return sum(COST[lever] for lever in options)


def _edits(options: Options) -> Edits:
    return tuple(edit for lever in sorted(options) for edit in options[lever].edits)


class Planner:
    """Plans for one formula. Each set of edits is made and judged once.

    Parameters
    ----------
    trials
        Judges.
    formula
        As it is.
    case
        The same as arrays.
    before
        What is wrong with it.
    """

    def __init__(
        self, trials: Trials, formula: Formula, case: FormulaArrays, before: Wrong
    ) -> None:
        self.trials, self.formula = trials, formula
        self.case, self.before = case, before
        self.opened: Composition = case.compositions[0]
        self.custom: Custom = custom_of(self.case)
        self._formulas: dict[Edits, Formula | None] = {(): formula}
        self._judged: dict[Edits, Wrong | None] = {(): self.before}
        self._grids: dict[Edits, PhGrid] = {}
        self._own_ids = {s.id for s in self.opened.systems}.intersection(trials.systems)
        if before:
            trials.hold(formula, levers.materials(trials), self._own_ids)

    def plan(self) -> Plan:
        """The best plan."""
        if not self.before:
            return self._finished(_Draft({}, self.before))
        kept = self._improved({}, self._partners)
        if not self._wants_another(kept):
            return self._finished(self._pruned(kept))
        drafts = [kept, *self._without_one(), *self._with_another(kept)]
        proven = [d for d in drafts if not d.wrong.worse_than(self.before)]
        best = min(proven, key=lambda d: d.cost, default=kept)
        return self._finished(self._pruned(best), clash=best is not kept)

    # ---- sets of edits ----

    def _changed(self, edits: Edits) -> Formula | None:
        if edits not in self._formulas:
            self._formulas[edits] = self.trials.changed(self.formula, edits)
        return self._formulas[edits]

    def _tried(self, sets: Sequence[Edits]) -> list[Wrong | None]:
        """What is wrong after each of several sets of edits; ``None`` where one cannot be made."""
        new = [edits for edits in dict.fromkeys(sets) if edits not in self._judged]
        made = [(edits, self._changed(edits)) for edits in new]
        self._judged |= dict.fromkeys(new)
        can = [(edits, formula) for edits, formula in made if formula is not None]
        found = self.trials.judged([formula for _, formula in can])
        self._judged |= {edits: wrong for (edits, _), wrong in zip(can, found, strict=True)}
        return [self._judged[edits] for edits in sets]

    def _after(self, edits: Edits, otherwise: Wrong) -> Wrong:
        found = self._tried([edits])[0]
        return otherwise if found is None else found

    def _grid(self, edits: Edits) -> PhGrid | None:
        formula = self._changed(edits)
        if formula is not None and edits not in self._grids:
            case = self.trials.arrays([formula]) if edits else self.case
            self._grids[edits] = ph_grid(case, formula.measured.ph)
        return self._grids.get(edits)

    @cached_property
    def _bare(self) -> Formula:
        return without_preservatives(self.opened)

    @cached_property
    def bare(self) -> Wrong:
        """What is wrong whatever preservative goes in."""
        return self.trials.judged([self._bare])[0]

    @cached_property
    def _base_faults(self) -> tuple[Key, ...]:
        """What is wrong with the base whatever preservative goes in, at a pH that suits it."""
        aim, moved = self.custom.aim, self.bare
        if self.bare and aim is not None and self.custom.lever:
            moved = self.trials.judged([at_ph(self._bare, aim)])[0]
        return tuple(key for key in self.bare if key in self.before and key in moved)

    def _own(self, key: Key, code: int) -> bool:
        """Whether a finding is the preservative's doing."""
        if BY_ID[key[0]].against in ("ph", "charge"):
            return True
        return code > self.bare.get(key, PASS)

    # ---- drafts ----

    def _improved(self, fixed: Options, partners: Callable[[], list[Option]] | None) -> _Draft:
        """The best draft that keeps to some options and to the systems there are after them."""
        edits = _edits(fixed)
        start, wrong = self._changed(edits), self._tried([edits])[0]
        if start is None or wrong is None:
            return _Draft({}, self.before)
        draft = _Draft(dict(fixed), wrong)
        self._try_base(draft, self.trials.compose(start))
        self._try_ph_and_dose(draft)
        weak = any(
            code == SERIOUS and BY_ID[check].against == "ph"
            for (check, _), code in draft.wrong.items()
        )
        if weak and partners is not None:
            self._try_partner(draft, partners())
        return draft

    def _try_base(self, draft: _Draft, opened: Composition) -> None:
        """Keep of each lever of the base and the bench the option that mends most."""
        if not draft.wrong:
            return
        rows = self.trials.composer.resolver.ingredients
        chelator = any("chelator" in BY_ID[check].levers for check in draft.wrong.worst)
        replacements = levers.replacements(opened, self.trials)
        options = [
            *levers.scale(opened),
            *(replacements if replacements and self._base_faults else ()),
            *(levers.chelators(opened, rows) if chelator else ()),
            *levers.temperatures(opened, self.trials.systems),
        ]
        options = [o for o in options if o.lever not in draft.options]
        kept: dict[Lever, tuple[Option, Wrong]] = {}
        tried = self._tried([draft.with_([o]) for o in options])
        for option, after in zip(options, tried, strict=True):
            if after is None or after.worse_than(draft.wrong):
                continue
            faults = [key for key in self._base_faults if key in draft.wrong]
            if option.lever is Lever.BASE and all(key in after for key in faults):
                continue  # the base itself is sound
            best = kept[option.lever][1] if option.lever in kept else draft.wrong
            if after.weight < best.weight - _NOISE:
                kept[option.lever] = option, after
        if kept:
            together = draft.with_([option for option, _ in kept.values()])
            draft.wrong = self._after(together, draft.wrong)
            draft.options |= {lever: option for lever, (option, _) in kept.items()}

    def _try_ph_and_dose(self, draft: _Draft) -> None:
        """Keep the pH, the dose or both at their aims: the mildest that mends most."""
        if not draft.wrong:
            return
        at = self._ph_option(draft.with_([]))
        sets: list[tuple[Option, ...]] = [] if at is None else [(at,)]
        if any(BY_ID[check].by_dose for check in draft.wrong.worst):
            sets += [(option,) for option in self._doses(draft, ())]
            if at is not None:
                sets += [(at, option) for option in self._doses(draft, (at,))]
        self._keep(draft, sets)

    def _doses(self, draft: _Draft, more: Sequence[Option]) -> list[Option]:
        """Each system at the dose to aim at; of one that the draft adds, another addition."""
        formula = self._changed(draft.with_(more))
        if formula is None:
            return []
        found = doses.options(self.trials, formula)
        added = draft.options.get(Lever.PRESERVATIVE)
        return found if added is None else [doses.redosed(added, option) for option in found]

    def _partners(self) -> list[Option]:
        rows = [self.trials.systems[i] for i in self._own_ids]
        ids = {p for row in rows for p in row.partners if p in self.trials.systems}
        self.trials.hold(self.formula, levers.materials(self.trials), self._own_ids | ids)
        return levers.partners(self.opened, self.trials)

    def _try_partner(self, draft: _Draft, options: Sequence[Option]) -> None:
        """Keep a partner, alone or with the pH that suits both."""
        sets: list[tuple[Option, ...]] = []
        for option in options:
            at = self._ph_option(draft.with_([option]))
            sets += [(option,)] if at is None else [(option,), (option, at)]
        self._keep(draft, sets)

    def _keep(self, draft: _Draft, sets: Sequence[Sequence[Option]]) -> None:
        """Keep of several sets of options the mildest that mends most, if one mends at all."""
        tried = self._tried([draft.with_(s) for s in sets])
        found = [
            (after.weight * _FINDING + _cost(draft.options | {o.lever: o for o in s}), n)
            for n, (s, after) in enumerate(zip(sets, tried, strict=True))
            if after is not None
            and after.weight < draft.wrong.weight - _NOISE
            and not after.worse_than(draft.wrong)
        ]
        if found:
            at = min(found)[1]
            draft.wrong = self._after(draft.with_(sets[at]), draft.wrong)
            draft.options |= {o.lever: o for o in sets[at]}

    def _ph_option(self, edits: Edits) -> Option | None:
        """The pH to aim at after some edits, where that is another one."""
        without = tuple(edit for edit in edits if not isinstance(edit, SetPh))
        present, grid = self.formula.measured.ph, None
        if present is not None and self.custom.lever:
            grid = self._grid(without)
        target = ph_target(grid, present, self.custom) if grid is not None else None
        if target is None or present is None or abs(target.value - present) < _NOISE:
            return None
        return Option(Lever.PH, (SetPh(target.value),))

    # ---- another system ----

    def _wants_another(self, kept: _Draft) -> bool:
        """Whether a serious fault stays that a preservative has to do with, or several independent
        cautions point at it: what another pH alone would mend counts as one."""
        serious = [key for key, code in kept.wrong.items() if code == SERIOUS]
        if any(_is_answered(key) and self._own(key, SERIOUS) for key in serious):
            return True
        if not self.opened.systems:
            return bool(serious)
        base = {k: o for k, o in kept.options.items() if k < Lever.REMOVE}
        sets = [_edits(base)]
        if Lever.PH in kept.options:
            sets.append(_edits(base | {Lever.PH: kept.options[Lever.PH]}))
        pointed = [self._after(edits, self.before) for edits in sets]
        own = {k: c for k, c in pointed[0].items() if self._own(k, c)}
        by_ph = {k for k, c in own.items() if pointed[-1].get(k, PASS) < c}
        causes = {BY_ID[k[0]].against for k, c in own.items() if k not in by_ph and _points(k, c)}
        works_by_ph = any(BY_ID[check].against == "ph" for check, _ in by_ph)
        return len(causes) + works_by_ph >= CAUTIONS_FOR_ANOTHER

    def _without_one(self) -> list[_Draft]:
        """Drafts that take one of several preservatives out."""
        return [self._improved({Lever.REMOVE: o}, None) for o in levers.removals(self.opened)]

    def _with_another(self, kept: _Draft) -> list[_Draft]:
        """Drafts with another system in the base as it was mended, up to the first that leaves
        nothing serious and worsens nothing."""
        base = {k: o for k, o in kept.options.items() if k < Lever.REMOVE and not _removes(o)}
        own = tuple(s.id for s in self.opened.systems if s.declared)
        out = {Lever.REMOVE: Option(Lever.REMOVE, tuple(Remove(i) for i in own))} if own else {}
        others = [s for s in others_for(self.case) if s.id not in self._own_ids][:OTHERS_TRIED]
        ids = {s.id for s in others} | (self._own_ids - set(own))
        self.trials.hold(self.formula, levers.materials(self.trials), ids)
        sets: list[dict[Lever, Option]] = [
            base
            | out
            | {Lever.PRESERVATIVE: levers.addition(self.opened, s, doses.of_a_new_one(s))}
            for s in others
        ]
        tried = self._tried([_edits(s) for s in sets])
        order = sorted(
            (after.serious, len(after.worse_than(self.before)), n)
            for n, after in enumerate(tried)
            if after is not None
        )
        drafts: list[_Draft] = []
        for _, _, n in order[:OTHERS_FINISHED]:
            drafts.append(self._improved(sets[n], None))
            if not (drafts[-1].wrong.serious or drafts[-1].wrong.worse_than(self.before)):
                break
        return drafts

    # ---- the end ----

    def _pruned(self, draft: _Draft) -> _Draft:
        """The draft without what can be left out; never without its only preservative."""
        swap = {Lever.REMOVE, Lever.PRESERVATIVE} if Lever.REMOVE in draft.options else set()
        order = sorted(set(draft.options) - swap, key=lambda lever: -COST[lever])
        less = [{k: o for k, o in draft.options.items() if k != lever} for lever in order]
        # what the end asks for is judged in the same go
        groups = _groups(draft.options)
        later = [*groups, *(_joined(groups[: n + 1]) for n in range(len(groups)))]
        tried = self._tried([*map(_edits, less), *later])[: len(less)]
        for options, after in zip(less, tried, strict=True):
            if after is not None and after.weight <= draft.wrong.weight + _NOISE:
                return self._pruned(_Draft(options, after))
        return draft

    def _finished(self, draft: _Draft, *, clash: bool = False) -> Plan:
        """The plan: options in order, those that only together do good in one step."""
        groups = _groups(draft.options)
        prefixes = self._tried([_joined(groups[: n + 1]) for n in range(len(groups))])
        steps: list[Step] = []
        waiting: Edits = ()
        seen: Wrong = self.before
        for group, after in zip(groups, prefixes, strict=True):
            waiting += group
            if after is None or after.worse_than(seen):
                continue
            mended = tuple(key for key in seen if after.get(key, PASS) < seen[key])
            if mended:
                steps.append(Step(waiting, mended))
                waiting, seen = (), after
        edits = _joined([step.edits for step in steps])
        final, grid = self._changed(edits) or self.formula, self._grid(edits)
        target = ph_target(grid, final.measured.ph, self.custom) if grid is not None else None
        # a pH that the preservative asks for and another thing forbids
        asked = {check for check, _ in self.before if BY_ID[check].against == "ph"}
        measured = self.formula.measured.ph is not None and self.custom.matters
        at_first = self._grid(()) if clash and asked and measured else None
        found = clash_of(at_first, self.custom, asked) if at_first is not None else None
        return Plan(
            tuple(steps),
            self.before,
            self._after(edits, self.before),
            final,
            target,
            found,
            self._mended_by([step.edits for step in steps]),
        )

    def _mended_by(self, steps: Sequence[Edits]) -> dict[Key, Edits]:
        """For each finding that the plan mends the fewest of its steps that do it alone."""
        sets = [*steps, *(_joined(steps[: n + 1]) for n in range(1, len(steps)))]
        out: dict[Key, Edits] = {}
        for edits, after in zip(sets, self._tried(sets), strict=True):
            if after is not None and not after.worse_than(self.before):
                for key in self.before:
                    if key not in after:
                        out.setdefault(key, edits)
        return out


def _removes(option: Option) -> bool:
    return any(isinstance(edit, Remove) for edit in option.edits)


def _points(key: Key, code: int) -> bool:
    """Whether a finding speaks against a preservative; what two substances do to each other does
    where it is serious."""
    against = BY_ID[key[0]].against
    return against is not None and (against != "contact" or code == SERIOUS)


def _is_answered(key: Key) -> bool:
    """Whether a change of the recipe can answer a finding at all, and not only the maker."""
    check = BY_ID[key[0]]
    return check.against is not None or check.by_dose or bool(check.levers)


def _joined(groups: Iterable[Edits]) -> Edits:
    return tuple(edit for group in groups for edit in group)


def _groups(options: Options) -> list[tuple[Edit, ...]]:
    """Edits that are one piece of work, in order: a preservative goes out when another goes in."""
    out: list[tuple[Edit, ...]] = []
    leaving: tuple[Edit, ...] = ()
    for lever in sorted(options):
        edits = options[lever].edits
        if lever is Lever.REMOVE and Lever.PRESERVATIVE in options:
            leaving = edits
            continue
        out.append((*leaving, *edits))
        leaving = ()
    return out


def plan_of(trials: Trials, formula: Formula, case: FormulaArrays, before: Wrong) -> Plan:
    """The plan of a formula, which is given as arrays too, with what is wrong with it."""
    return Planner(trials, formula, case, before).plan()
