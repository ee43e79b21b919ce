"""Does the file say of the product what its name and its type say?

What is judged: use against type and name (a leave-in called rinse-off), users against the name
("kids" for adults), the pack against the name (a spray in a jar), and a soap against its pH.

    fault      they differ, and on the stricter reading a rule of the law applies to something in it
               that would not apply as the file has it (serious)
    warning    they differ, and for what is in it the law is the same
    pass       nothing in the file contradicts anything else

Until it is answered the law is judged on the stricter reading: leave-on before rinse-off, the
youngest users, the spray. A name is read for nothing but these words: leave-in, rinse-off, baby,
toddler, kids, children, spray, mist and the like.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping

import numpy as np

from preservecheck.arrays.formulas import FormulaArrays
from preservecheck.arrays.law import factors, hidden_rules
from preservecheck.arrays.recipes import Profile
from preservecheck.checks.base import Check, Explanation, Figures, KeyFigure, below
from preservecheck.checks.incompatibilities import broken_by_ph
from preservecheck.chemistry.summation import weighed_sum
from preservecheck.text import join_and, sentence
from preservecheck.verdict import PASS, SERIOUS, WARN, Bools, Codes, code_where, figure

# soap as the cleanser, and the pH below which it is none; as in incompatibilities.csv
SOAPS, SOAP_PERCENT, SOAP_PH = ("inci:Potassium Cocoate", "inci:Potassium Olivate"), 3.0, 7.0


def compute(case: FormulaArrays) -> Figures:
    """How many contradictions there are, and whether the law differs. (..., 1)"""
    c = case.reference
    told = np.array([len(list(_told(p))) for p in case.profiles], dtype=int)[case.profile]
    soap = weighed_sum(case.amount, c.matching(SOAPS).astype(float)) >= SOAP_PERCENT
    acid = soap & below(case.ph + case.ph_tolerance, SOAP_PH)
    differs: Bools = np.zeros(np.shape(told), dtype=bool)
    if (hidden := np.array([hidden_rules(c, p) for p in case.profiles])).any():
        factor, gap = factors(c)
        columns = np.flatnonzero(hidden.any(axis=0))
        counted = ((factor > 0) | gap)[:, columns].astype(float)
        touched = weighed_sum(case.amount, counted) > 0
        differs = np.asarray((touched & hidden[:, columns][case.profile]).any(axis=-1))
    shape = np.broadcast_shapes(np.shape(told), np.shape(acid), np.shape(differs))
    arrays = {"contradictions": told + acid, "law_differs": differs, "acid_soap": acid}
    return {
        n: np.broadcast_to(np.asarray(a, dtype=float), shape)[..., None] for n, a in arrays.items()
    }


def _told(profile: Profile) -> Iterator[tuple[str, str]]:
    """Each contradiction of a profile: what differs, and the question that settles it."""
    if profile.use == "rinse-off" and profile.stays_on:
        says = "its name says leave-in" if "leave-on" in profile.said else f"it is a {profile.type}"
        if profile.type in ("leave-in", "styling") and "leave-on" in profile.said:
            says += f" and its type is {profile.type}"
        yield f"the file says rinse-off, but {says}", "Does it stay in the hair? Set the use."
    if profile.use == "leave-on" and "rinse-off" in profile.said:
        yield "its name says rinse-off, the file leave-on", "Is it rinsed off? Set the use."
    if profile.use == "leave-on" and profile.type == "shampoo" and "dry" not in profile.said:
        yield "a shampoo is rinsed off, the file says leave-on", "Is it rinsed off? Set the use."
    if (young := profile.young) is not None:
        yield (
            f"its name speaks to children, the file says {profile.users}",
            f"Is it made for children? Set the users ({young}).",
        )
    if "spray" in profile.said and profile.package not in ("spray", None):
        yield (
            f"its name says spray or mist, the pack is a {profile.package}",
            "Is it sprayed? Set the pack.",
        )


def judge(figures: Figures) -> Codes:
    """One code per case. (..., 1)"""
    return code_where(
        ((figures["contradictions"] > 0) & (figures["law_differs"] > 0), SERIOUS),
        (figures["contradictions"] > 0, WARN),
        otherwise=PASS,
    )


def explain(case: FormulaArrays, values: Mapping[str, float], j: int, code: int) -> Explanation:
    """Words for the formula."""
    profile = case.profiles[int(case.profile[0])]
    told = list(_told(profile))
    figures = (figure("contradictions", values["contradictions"]),)
    if code == PASS:
        because = "Name, type, use, users and pack agree."
        return Explanation("formula", figures, because)
    differs, questions = [d for d, _ in told], [q for _, q in told]
    if values["acid_soap"]:
        differs.append("it holds a true soap, and the measured pH is one at which soap is none")
        questions.append("Is the pH right? Measure it again.")
    because = sentence(join_and(differs))
    if told:
        strict = profile.strict
        law = f"{strict.use}, users {strict.users}" + (
            f", {strict.package}" if strict.package else ""
        )
        because += f" The law is judged on the stricter reading ({law})"
        because += (
            ", and it differs." if code == SERIOUS else "; for what is in it nothing changes."
        )
    causes = () if told else tuple(broken_by_ph(case))
    return Explanation(
        "formula", figures, because, " ".join(dict.fromkeys(questions)), causes=causes
    )


CHECK = Check(
    id="contradictions",
    key=KeyFigure("contradictions"),
    compute=compute,
    judge=judge,
    explain=explain,
    tables={"legal_limits": (), "conversions": (), "ingredients": ()},
    of_the_file=True,
)
