"""Three phones taste at once, in real browsers, while the host looks on: nothing is told before the end."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import expect

from dashboard.access.passwords import Passwords
from dashboard.queries import tastings
from ingest.model import BatchRecord, Vessel
from ingest.store.store import Store
from ingest.tastings import Taster, Tasting
from tests.conftest import need_chromium
from tests.system.serving import Server, browser

pytestmark = pytest.mark.chromium

KEEP = "copper kettle lantern"
DRINKS = ("Quince saison", "Larch pale", "Mirabelle bitter")
LIKED = {0: 88, 1: 41, 2: 35}
PICTURES = Path(__file__).parents[1] / "screenshots"
expect.set_options(timeout=60_000)


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[Server, Tasting, list[Taster]]]:
    served = Server(tmp_path_factory.mktemp("tasted"), "serve")
    Passwords(served.data).set("keep", KEEP)
    with Store.open(served.data) as store:
        arms = []
        ended = datetime.now(UTC) - timedelta(days=20)
        for n, name in enumerate(DRINKS):
            vessel = store.save(Vessel(name=f"Jug {n + 1}"))
            record = store.save(
                BatchRecord(
                    name=name, vessel_id=vessel.vessel_id, pitched_at=ended - timedelta(days=14), ended_at=ended
                )
            )
            arms.append((name, ((record.batch_id, 1.0),)))
        draft = tastings.Draft("Which fruit?", "score", tuple(arms), ("Ana", "Ben", "Cleo"), ("milk",), "added")
        tasting = tastings.make(store, draft)
        people = tastings.tasters_of(store, tasting)
    served.start()
    yield served, tasting, people
    served.kill()


def judge(phone: Any, tasting: Tasting, taster: Taster, place: int) -> None:
    """One glass on one phone, by the form as a person sees it."""
    code, arm = tasting.glasses[taster.served[place]]
    expect(phone.get_by_role("heading")).to_have_text(f"Glass {place + 1} of 3: {code}")
    phone.get_by_label("How much do you like it").fill(str(LIKED[arm] + place))
    phone.get_by_label("pear", exact=True).check()
    phone.get_by_label("Notes").fill(f"hush-{taster.name.lower()}")
    phone.get_by_role("button", name="Keep and go on").click()


def test_three_phones_taste_at_once_and_only_the_end_tells(
    made: tuple[Server, Tasting, list[Taster]], wait_until: Callable[..., None]
) -> None:
    server, tasting, people = made
    wait_until(lambda: server.health().get("broker_connected"), 120, "the server")
    site = f"http://127.0.0.1:{server.port}"
    heard: list[bytes] = []
    with browser(need_chromium()) as host:
        host.on("websocket", lambda ws: ws.on("framereceived", lambda frame: heard.append(_bytes(frame))))
        host.goto(f"{site}/tasting?id={tasting.tasting_id}")
        host.get_by_label("Password").fill(KEEP)
        host.get_by_role("button", name="Sign in").click()
        host.get_by_text("Nobody is done yet.").wait_for()
        chromium = host.context.browser
        assert chromium is not None
        phones = [
            chromium.new_context(viewport={"width": 390, "height": 760}, java_script_enabled=False).new_page()
            for _ in people
        ]
        sources: list[str] = []
        for phone, taster in zip(phones, people, strict=True):
            phone.goto(f"{site}/taste/{taster.token}")
            expect(phone.get_by_text("milk")).to_be_visible()
            sources.append(phone.content())
            phone.get_by_role("link", name="Begin").click()
        for place in range(3):
            for phone, taster in zip(phones, people, strict=True):
                judge(phone, tasting, taster, place)
                sources.append(phone.content())
        phones[0].reload()
        expect(phones[0].get_by_text("Every glass is judged")).to_be_visible()
        phones[0].goto(f"{site}/taste/{people[0].token}/1")
        expect(phones[0].get_by_label("Notes")).to_have_value("hush-ana")
        PICTURES.mkdir(exist_ok=True)
        phones[0].screenshot(path=PICTURES / "tasting-phone.png")
        phones[0].goto(f"{site}/taste/{people[0].token}")
        for phone in phones[:2]:
            phone.get_by_role("button", name="I am done").click()
            expect(phone.get_by_role("heading")).to_have_text("Thank you. You are done.")
        host.get_by_text("Two of three done").wait_for()
        host.screenshot(path=PICTURES / "tasting-host.png")
        told = b"".join(heard)
        assert b"Two of three done" in told  # the frames can be read
        for secret in (*DRINKS, "hush-", *(taster.token for taster in people)):
            assert secret.encode() not in told, secret
        for source in sources:
            assert not [name for name in DRINKS if name in source]
        for own, taster in enumerate(people):
            others = [f"hush-{each.name.lower()}" for each in people if each is not taster]
            assert not [secret for source in sources[own::3] for secret in others if secret in source]
        phones[2].get_by_role("button", name="I am done").click()
        expect(phones[2].get_by_role("heading")).to_have_text("This tasting is over.")
        host.get_by_role("heading", name="Quince saison is liked best").wait_for()
        host.get_by_text("can say little").wait_for()
        host.screenshot(path=PICTURES / "tasting-result.png", full_page=True)
        wrong = phones[0].goto(f"{site}/taste/{'A' * 22}")
        assert wrong is not None
        assert wrong.status == 404
        for phone in phones:
            phone.context.close()


def _bytes(frame: str | bytes) -> bytes:
    return frame.encode() if isinstance(frame, str) else frame
