"""What is expected of a batch without a float, in sentences."""

from __future__ import annotations

from analysis.following import Following
from analysis.wording import Voice, joined


def follows(told: Following, say: Voice) -> str:
    """Whom it follows and what that lets one expect: ``Follows Vessel 3, …: likely 1.018 (1.013 to 1.024).``"""
    g = told.gravity_sg
    names = joined(list(told.names))
    likely = f"likely {say.gravity(g.p50)} ({say.gravity(g.p10)} to {say.gravity(g.p90)})"
    if told.agrees is False:
        return f"Its own sample differs from {names}, which it followed: go by samples. If it went on alike, {likely}."
    return f"Follows {names}, without a float of its own: {likely}."


def follows_fully(told: Following, say: Voice) -> list[str]:
    """The same for the batch's own page: with its likely finish, and what it is not good for."""
    lines = [follows(told, say)]
    if told.finish is not None:
        early, middle, late = told.finish
        finishes = "finished" if middle <= say.now else "finishes"
        lines.append(f"It likely {finishes} about {say.when(middle)} ({say.when(early)} to {say.when(late)}).")
    else:
        lines.append("Its siblings tell no date yet.")
    if not told.like_warm:
        lines.append("It is not known whether they stand equally warm, so the range is wide.")
    lines.append(
        "This is an expectation, not a measurement: without samples of its own it is never called finished, never "
        "cleared for packaging, and teaches nothing. Take a hand sample."
    )
    return lines


def finish_by_siblings(told: Following, say: Voice) -> tuple[str, str] | None:
    """When it likely finishes as its siblings let one expect, and how much that is worth; None where they tell none."""
    if told.finish is None:
        return None
    early, middle, late = told.finish
    around = f"By its siblings about {say.when(middle)}"
    return around, f"From {say.exact(early)} to {say.exact(late)}: an expectation. Its own readings do not tell it yet."
