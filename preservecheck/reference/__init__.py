"""The tables: typed rows, and the loader that lays a user's own rows over ours."""
