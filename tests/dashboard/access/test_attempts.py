from __future__ import annotations

from dashboard.access import attempts as module
from dashboard.access.attempts import Attempts


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


def test_the_wait_doubles_with_each_failure_and_is_forgotten_after_a_day() -> None:
    clock = Clock()
    tries = Attempts(clock)
    for _ in range(4):
        assert tries.begin("192.0.2.1") == 0
    waits = []
    for _ in range(12):
        waits.append(tries.begin("192.0.2.1"))
        clock.now += waits[-1]
        assert tries.begin("192.0.2.1") == 0
    assert waits == [2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900, 900]
    clock.now += 86_401
    assert tries.begin("192.0.2.1") == 0
    assert tries.begin("192.0.2.1") == 0


def test_trying_while_one_must_wait_makes_the_wait_no_longer() -> None:
    clock = Clock()
    tries = Attempts(clock)
    for _ in range(6):
        tries.begin("192.0.2.1")
    clock.now += 1.5
    assert tries.begin("192.0.2.1") == 0.5


def test_the_right_password_clears_what_was_held_against_an_address() -> None:
    tries = Attempts(Clock())
    for _ in range(50):
        assert tries.begin("192.0.2.1") == 0
        tries.succeeded("192.0.2.1")


def test_many_addresses_together_get_ten_tries_a_minute() -> None:
    clock = Clock()
    tries = Attempts(clock)
    allowed = 0
    for n in range(6000):  # ten a second, each from its own address, for ten minutes
        allowed += tries.begin(f"10.{n // 65536}.{n // 256 % 256}.{n % 256}") == 0
        clock.now += 0.1
    assert 30 + 95 <= allowed <= 30 + 101


def test_strangers_do_not_keep_out_an_address_that_has_signed_in() -> None:
    tries = Attempts(Clock())
    assert tries.begin("192.0.2.1") == 0
    tries.succeeded("192.0.2.1")
    while tries.begin(f"10.0.0.{len(tries._past)}") == 0:
        pass
    assert tries.begin("10.9.9.9") > 0
    assert tries.begin("192.0.2.1") == 0


# RFC 6177: an end site of IPv6 gets a /64 at least. RFC 4291, section 2.5.5.2: an IPv4 address mapped into IPv6.
def test_addresses_that_one_person_has_are_one() -> None:
    tries = Attempts(Clock())
    for n in range(4):
        assert tries.begin(f"2001:db8:0:1::{n}") == 0
    assert tries.begin("2001:db8:0:1:ffff::9") > 0
    assert tries.begin("2001:db8:0:2::1") == 0
    for _ in range(4):
        tries.begin("::ffff:192.0.2.1")
    assert tries.begin("192.0.2.1") > 0
    for _ in range(4):
        tries.begin("no address")
    assert tries.begin("") > 0


def test_memory_is_bounded() -> None:
    clock = Clock()
    tries = Attempts(clock)
    for n in range(5000):
        tries.begin(f"10.0.{n // 256}.{n % 256}")
        tries.succeeded(f"10.0.{n // 256}.{n % 256}")
        tries.begin(f"10.1.{n // 256}.{n % 256}")
        clock.now += 6
    assert len(tries._past) <= module._MOST_ADDRESSES
    assert len(tries._known) <= module._MOST_KNOWN
