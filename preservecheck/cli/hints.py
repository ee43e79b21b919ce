"""What helps, worded for the command line."""

from __future__ import annotations

from collections.abc import Mapping

from preservecheck.errors import Hint

HINTS: Mapping[Hint, str] = {
    Hint.FORMULA_EXAMPLE: "'preservecheck new' writes an example",
    Hint.LIST_SYSTEMS: "'preservecheck tables list systems' shows them all",
    Hint.RANK_SYSTEMS: "'preservecheck choose' ranks the preservative systems for a formula",
    Hint.ADJUST_PH: "'preservecheck adjust' works out the amount of acid or base",
    Hint.ROOM: "give the temperature of the room with --room",
    Hint.BATCH: 'give the size of the batch with --batch "500 g"',
    Hint.FORMULA: "give the formula with --formula",
    Hint.ADDED: "give the time of the addition with --added to have it judged by the readings",
    Hint.STANDARD: "name the standard with --standard",
    Hint.TARGET: "say with --target which pH to reach",
    Hint.TITRATION: "give one with --titration",
    Hint.LIST_TABLE: "'preservecheck tables list TABLE' shows all rows of a table",
    Hint.LIST_TABLES: "'preservecheck tables list TABLE' lists a table, 'tables show TABLE KEY' "
    "prints a row in full, 'tables search WORDS' looks in all of them",
    Hint.SHOW_ROW: "'preservecheck tables show TABLE KEY' prints one in full",
    Hint.EXPLAIN: "'preservecheck explain CHECK' prints the rule, its formula and its constants",
    Hint.EXPLAIN_RANKING: "'preservecheck explain choose' tells how systems are judged",
    Hint.REVIEW: "'preservecheck review' judges the formula with it",
    Hint.WRITE_ALL: "--format csv --output FILE writes all rows",
}
