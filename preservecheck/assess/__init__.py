"""One formula by all checks: findings, their chances, and what goes beside them."""
