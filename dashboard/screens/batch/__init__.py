"""One batch: the verdict, its curve, what happened to it."""
