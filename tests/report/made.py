"""Reports made by hand, so that a test of the layout does not hang on the tables."""

import datetime as dt

from preservecheck.assess.advice import ChallengeTest
from preservecheck.assess.findings import Part, Preservative
from preservecheck.formula.model import Product
from preservecheck.plan.review import Report
from preservecheck.verdict import Evidence, Figure, Finding

DAY = dt.date(2026, 11, 25)


def made_finding(
    check="use-level",
    about="phenoxyethanol",
    verdict="pass",
    *,
    serious=False,
    because="1 % lies inside 0.5 to 1 %.",
    do=None,
    figures=None,
    chance=None,
    sources=("A handbook, page 7",),
    own=False,
):
    """A finding; every part can be set."""
    return Finding(
        id=check,
        about=about,
        verdict=verdict,
        serious=serious,
        chance=chance,
        because=because,
        do=do,
        figures=figures if figures is not None else (Figure("percent", 1.0, unit="%"),),
        evidence=tuple(Evidence(said=source, own=own) for source in sources),
        parts=(about,),
    )


def made_report(*findings, name="Test lotion", path="lotion.toml", **changes):
    """A report on some findings, with the worst of them as its verdict."""
    serious = any(f.serious for f in findings)
    words = [f.verdict for f in findings]
    verdict = next((w for w in ("warn", "unknown") if w in words), "pass")
    parts = {
        "program": "preservecheck 0.1.0",
        "tables_sha256": "a1" * 32,
        "formula_sha256": "b2" * 32,
        "date": DAY,
        "name": name,
        "product": Product(
            name=name,
            use="leave-on",
            type="leave-in",
            markets=("EU",),
            package="pump",
            batch_g=500.0,
        ),
        "kind": None,
        "path": path,
        "verdict": verdict,
        "serious": serious,
        "counts": {
            "pass": words.count("pass"),
            "warn": words.count("warn"),
            "unknown": words.count("unknown"),
            "serious": sum(f.serious for f in findings),
        },
        "preservatives": (
            Preservative(
                id="phenoxyethanol",
                percent=1.0,
                actives=(Part(inci="Phenoxyethanol", percent=1.0, origin="phenoxyethanol"),),
            ),
        ),
        "checks": findings,
        "remarks": (),
        "own_rows": (),
        "labels": (),
        "cautions": (),
        "challenge_test": ChallengeTest(
            needed=True,
            why=("it is water-based",),
            standards=("ISO 11930",),
            organisms=("Candida albicans (ATCC 10231)",),
            days=(7, 28),
            sources=(),
        ),
        "not_covered": ("The pack.",),
    }
    return Report(**(parts | changes))


def microbe(about, total, do="Raise the dose.", verdict="warn", serious=True):
    """A free-active finding with one active at 0.2 % free."""
    of = "Benzoic Acid"
    figures = (
        Figure("challenge_chance", total and total / (1 + total), tolerance=0.1),
        Figure("sum_of_ratios", total, tolerance=0.01),
        Figure("total_percent", 0.4, unit="%", of=of),
        Figure("total_in_water_percent", 0.41, unit="%", of=of),
        Figure("undissociated_fraction", 0.5, of=of),
        Figure("free_percent", 0.2, unit="% w/v", of=of),
        Figure("mic_percent", 0.2 / total if total else None, unit="% w/v", of=of),
        Figure("bound_ratio", 1.0, of=of),
        Figure("oil_term", 0.0, of=of),
    )
    return made_finding(
        "free-active",
        about,
        verdict,
        serious=serious,
        figures=figures,
        do=do,
        because=f"The free amounts add up to {total} times what stops it.",
    )
