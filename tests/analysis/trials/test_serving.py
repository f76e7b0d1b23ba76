"""Orders are balanced for place and for what came before; codes say nothing."""

from __future__ import annotations

from itertools import pairwise

import pytest

from analysis.trials import balance, glass_codes, serving_orders, triangle_orders
from analysis.trials.serving import incomplete_blocks, williams


@pytest.mark.parametrize("count", [2, 3, 4, 5, 6, 10])
def test_a_williams_design_is_balanced_for_place_and_for_what_came_before(count):
    square = williams(count)
    assert len(square) == (count if count % 2 == 0 else 2 * count)
    found = balance(square, count)
    turns = len(square) // count
    assert found.in_a_place == (turns, turns)
    assert found.after_another == (turns, turns)
    assert balance(square[:count], count).in_a_place == (1, 1)


def test_it_is_the_published_design():
    # Example output of crossdes::williams for 3 and, its first row, for 10 (counted from 1).
    printed = ["1 2 3", "2 3 1", "3 1 2", "3 2 1", "1 3 2", "2 1 3"]
    assert [" ".join(str(n + 1) for n in row) for row in williams(3)] == printed
    assert [n + 1 for n in williams(10)[0]] == [1, 2, 10, 3, 9, 4, 8, 5, 7, 6]


@pytest.mark.parametrize(("glasses", "tasters"), [(4, 4), (6, 6), (5, 10), (3, 6)])
def test_as_many_tasters_as_the_design_has_rows_give_full_balance(glasses, tasters):
    orders = serving_orders(glasses, tasters, seed=7)
    found = balance(orders, glasses)
    assert len(set(found.in_a_place)) == 1
    assert len(set(found.after_another)) == 1
    assert orders == serving_orders(glasses, tasters, seed=7)
    assert orders != serving_orders(glasses, tasters, seed=8)


def test_six_tasters_of_five_glasses_are_as_even_as_six_can_be():
    found = balance(serving_orders(5, 6, seed=3), 5)
    assert found.served == (6, 6)
    assert found.in_a_place[1] - found.in_a_place[0] <= 1


def test_of_more_than_six_each_gets_six_and_pairs_meet_equally_often():
    orders = serving_orders(10, 10, seed=1)
    assert {len(row) for row in orders} == {6}
    assert all(len(set(row)) == 6 for row in orders)
    found = balance(orders, 10)
    assert found.served == (6, 6)
    assert found.with_another[1] - found.with_another[0] <= 2
    assert found.in_a_place[1] <= 2
    assert found.after_another[1] <= 2


@pytest.mark.parametrize(("glasses", "tasters", "size", "meet"), [(7, 7, 3, 1), (7, 7, 4, 2), (4, 4, 3, 2)])
def test_where_a_balanced_incomplete_design_exists_it_is_found(glasses, tasters, size, meet):
    # Its parameters: Conover 1999, p. 391 (seven of three, each pair once), and its complement.
    blocks = incomplete_blocks(glasses, tasters, size, seed=2)
    assert balance(blocks, glasses).with_another == (meet, meet)


def test_a_triangle_uses_all_six_orders_and_serves_two_alike():
    orders = triangle_orders(6, seed=4)
    drinks = [tuple(n // 2 for n in row) for row in orders]
    assert sorted(drinks) == sorted([(0, 0, 1), (0, 1, 0), (1, 0, 0), (1, 1, 0), (1, 0, 1), (0, 1, 1)])
    assert all(len(set(row)) == 3 for row in orders)


def test_codes_have_three_digits_and_differ():
    codes = glass_codes(100, seed=5)
    assert len(set(codes)) == 100
    assert all(len(code) == 3 and code.isdigit() and code[0] != "0" and len(set(code)) > 1 for code in codes)
    assert codes != glass_codes(100, seed=6)
    assert any(int(a) > int(b) for a, b in pairwise(codes))


@pytest.mark.parametrize("wrong", [lambda: williams(1), lambda: glass_codes(0, 1), lambda: serving_orders(3, 0, 1)])
def test_what_makes_no_sense_is_refused(wrong):
    with pytest.raises(ValueError, match="got"):
        wrong()
