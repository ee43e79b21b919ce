"""Formula files: reading them, checking them, turning them into amounts."""
