"""The commands of ``tunroom``."""
