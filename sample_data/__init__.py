"""Invented cellars: the simulator behind the demo, the tests and the evaluations."""
