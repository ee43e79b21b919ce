"""What helps, worded for the command line."""

from __future__ import annotations

from collections.abc import Mapping

from preservecheck.errors import Hint
from preservecheck.formula.names import allowed_words

HINTS: Mapping[Hint, str] = {
    Hint.FORMULA_EXAMPLE: "'preservecheck new' writes an example",
    Hint.REVIEW: "'preservecheck review FILE' judges it",
    Hint.LIST_SYSTEMS: "'preservecheck tables list systems' shows them all",
    Hint.MARKETS_LIST: 'write a list, such as markets = ["EU", "GB"]',
    Hint.PHASE_TABLE: "start each phase with the line [[phase]], in double brackets",
    Hint.PHASE_LINES: 'write items = [ { ingredient = "Glycerin", percent = 3 } ]',
    Hint.LINE_NAME: 'write ingredient = "…" with a name, or preservative = "…" with the id of a '
    "system",
    Hint.REST_LINE: "mark it with rest = true (in a sheet, qs or rest in place of the amount)",
    Hint.QUOTES: "text goes in quotation marks",
    Hint.NO_QUOTES: "numbers go without quotation marks",
    Hint.BLEND_PARTS: "write it as this block",
    Hint.SYSTEM_LINE: 'on a line write preservative = "…" instead of ingredient = "…"; a blend '
    "takes the substances in it, each with its percent",
    Hint.SYSTEM_IN_SHEET: "write it like that in the column ingredient",
    Hint.NEW_INGREDIENT: "write a known name, or its composition as a [blend], or add it for this "
    "formula alone: paste this block at the end of the file and fill in the role",
    Hint.NEW_INGREDIENT_IN_SHEET: "write one of the known names, or its composition in the sheet "
    "Blends, or add it for this formula alone: a sheet Ingredients with the columns ingredient, "
    "role, water fraction, charge, nutrient load, usual phase and a row for it. The roles are: "
    f"{', '.join(allowed_words('role'))}",
    Hint.OVERWRITE: "choose another name, or overwrite it with --force",
    Hint.TABLES_FOLDER: "own tables are given with --tables or PRESERVECHECK_TABLES",
    Hint.LIST_TABLE: "'preservecheck tables list TABLE' shows all rows of a table",
    Hint.RANK_SYSTEMS: "'preservecheck choose' ranks the preservative systems for a formula",
    Hint.PRODUCTS: "--products takes the table of the products",
    Hint.START_ANEW: "leave --resume out to start anew",
    Hint.FEWER_JOBS: "the same command with --resume --jobs 1 goes on",
    Hint.FORMULA: "give the formula with --formula",
    Hint.BATCH: 'give the size of the batch with --batch "500 g"',
    Hint.ROOM: "give the temperature of the room with --room",
    Hint.ADDED: "give the time of the addition with --added to have it judged by the readings",
    Hint.STANDARD: "name the standard with --standard",
    Hint.TARGET: "say with --target which pH to reach",
    Hint.TITRATION: "give one with --titration",
    Hint.LIST_TABLES: "'preservecheck tables list TABLE' lists a table, 'tables show TABLE KEY' "
    "prints a row in full, 'tables search WORDS' looks in all of them",
    Hint.SHOW_ROW: "'preservecheck tables show TABLE KEY' prints one in full",
    Hint.EXPLAIN: "'preservecheck explain CHECK' prints the rule, its formula and its constants",
    Hint.EXPLAIN_RANKING: "'preservecheck explain choose' tells how systems are judged",
    Hint.WRITE_ALL: "--format csv --output FILE writes all rows",
    Hint.ADJUST_PH: "'preservecheck adjust' works out the amount of acid or base",
    Hint.KEEP: "'preservecheck challenge RESULTS --keep --formula FORMULA' writes it",
    Hint.RESULT_FILE: "'preservecheck challenge RESULTS --format json' writes such a file",
    Hint.RECORD: "'preservecheck record FORMULA --output DIR' writes one",
}
