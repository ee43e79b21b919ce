"""The plan of a formula: aims, and the shortest list of changes that mend it, each proven."""
