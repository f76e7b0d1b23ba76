"""Cellar, vessels, logs, notifications, health."""
