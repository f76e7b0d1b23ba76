"""What an expression of a rule may cost: a small message must not make us work long or fill the memory.

JMESPath has no loops, but a list of two copies of what came before, piped into another such list, doubles at each step:
twenty steps on a message of seven bytes give millions of values.
"""

from __future__ import annotations

from collections.abc import Mapping
from math import prod
from typing import Any, Final

MOST_LETTERS: Final = 1000
"""Of one expression. The longest that a device's message has needed in our examples has 60."""
MOST_NESTED: Final = 100
"""Levels of one expression's tree: well within Python's limit of 1,000 calls, of which a level takes up to three."""
MOST_COPIES: Final = 64
"""How many times larger than the message a result may grow: enough for every list that names fields one by one."""


def too_costly(tree: Mapping[str, Any]) -> str | None:
    """What is too much about a parsed expression, in a few words; None where nothing is.

    Parameters
    ----------
    tree
        A node of `jmespath.compile(…).parsed`: type, children, value.
    """
    if _depth(tree) > MOST_NESTED:
        return f"it is nested more than {MOST_NESTED} levels deep"
    if _joins_what_the_message_gives(tree):
        return "join() multiplies two parts of the message; give the text between as a fixed one: join(', ', names)"
    if _copies(tree) > MOST_COPIES:
        return f"its result may be more than {MOST_COPIES} times as large as the message"
    return None


def _depth(tree: Mapping[str, Any]) -> int:
    """Levels, counted without recursion."""
    deepest, waiting = 0, [(tree, 1)]
    while waiting:
        node, level = waiting.pop()
        deepest = max(deepest, level)
        waiting.extend((child, level + 1) for child in node["children"])
    return deepest


def _copies(node: Mapping[str, Any]) -> int:
    """How many copies of what it is given a node's result may hold at most.

    Parts that stand beside each other are added; where one works on the other's result, they multiply.
    """
    below = [_copies(child) for child in node["children"]]
    match node["type"]:
        case "multi_select_list" | "multi_select_dict" | "comparator" | "or_expression" | "and_expression":
            return max(1, sum(below))
        case "function_expression":
            each = prod(n for n, child in zip(below, node["children"], strict=True) if child["type"] == "expref")
            return (
                max(1, sum(n for n, child in zip(below, node["children"], strict=True) if child["type"] != "expref"))
                * each
            )
        case _:
            return prod(below)


def _joins_what_the_message_gives(node: Mapping[str, Any]) -> bool:
    children = node["children"]
    joins = node["type"] == "function_expression" and node["value"] == "join"
    return (joins and bool(children) and children[0]["type"] != "literal") or any(
        map(_joins_what_the_message_gives, children)
    )
