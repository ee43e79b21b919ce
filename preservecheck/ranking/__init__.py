"""Every preservative system against one formula, in order."""
