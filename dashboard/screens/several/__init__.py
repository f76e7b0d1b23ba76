"""Several vessels at once: one wort into many, one event or sample for many, dividing and merging."""
