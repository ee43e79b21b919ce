"""At the bench: what is needed while a batch is made."""
