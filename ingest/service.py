"""Everything that runs: the store, the embedded broker, the pipeline, the subscriber and the watcher.

They start in this order and stop in reverse, so that nobody speaks to somebody who has gone.
"""

from __future__ import annotations

import contextlib
import logging
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Final

from ingest import file_modes, logs, systemd, threads
from ingest.backup import Nightly
from ingest.decoding import Rule
from ingest.decoding import rules as rule_book
from ingest.monitoring import Hooks, Notifier, Outlooks, Watcher, watching
from ingest.mqtt import EmbeddedBroker, Subscriber
from ingest.pipeline import Pipeline, take_again
from ingest.settings import DATABASE, Settings, default_data_dir
from ingest.store import Store

log = logging.getLogger(__name__)

SIGN_EVERY_S: Final = 5.0
"""Between two signs of life where no watchdog says how often it wants one."""


@dataclass(slots=True)
class Service:
    """The running parts, for whoever shows them or commands them."""

    settings: Settings
    store: Store
    pipeline: Pipeline
    subscriber: Subscriber
    outlooks: Outlooks
    notifier: Notifier
    broker: EmbeddedBroker | None = None
    watcher: Watcher | None = None
    nightly: Nightly | None = None

    def watcher_problem(self) -> str | None:
        """What keeps the watcher from its work, as a sentence."""
        return self.watcher.problem if self.watcher is not None else None

    def problems(self) -> list[str]:
        """Sentences about all that is wrong at this moment."""
        told = (self.store.broken, self.subscriber.status().problem, self.watcher_problem(), self.lifeless())
        return [problem for problem in dict.fromkeys(told) if problem]

    def healthy(self) -> bool:
        """Whether nothing is wrong and the broker is there."""
        return self.subscriber.status().connected and not self.problems()

    def store_bytes(self) -> int:
        """What the cellar takes on disk: its file and the log beside it; none in memory."""
        if self.store.path is None:
            return 0
        return sum(file.stat().st_size for file in files_of(self.store.path) if file.exists())

    def lifeless(self) -> str | None:
        """A sentence about the first part that has died or hangs; None while all of them live."""
        parts = (self.pipeline, self.subscriber, self.watcher)
        return next((said for part in parts if part is not None and (said := part.lifeless())), None)

    def sign_of_life(self) -> None:
        """Tell whoever watches this process that it lives, if it does; otherwise say why it is to be restarted."""
        if (why := self.lifeless()) is None:
            systemd.notify(systemd.ALIVE)
        else:
            log.error("%s", why)

    def rules(self) -> tuple[Rule, ...]:
        """All rules in force: those of the settings file, then those made on screen."""
        return (*self.settings.rules, *rule_book.stored_rules(self.store))

    def save_rule(self, rule: Rule) -> int:
        """Keep a rule, listen to its topic, take in what was rejected before; return how many messages it mended."""
        rule_book.save_rule(self.store, rule)
        self.reload_rules()
        return self.take_again()

    def remove_rule(self, name: str) -> None:
        """Forget a rule that was made on screen."""
        rule_book.remove_rule(self.store, name)
        self.reload_rules()

    def undo(self, only: int | None = None) -> str | None:
        """Take back the newest change (see `Store.undo`); a rule that comes or goes with it counts at once."""
        return self._undone(self.store.undo(only))

    def take_back(self, change_id: int, along: Sequence[int] = ()) -> str | None:
        """Take back any change, and those that rest on it (see `Store.take_back`); rules count at once."""
        return self._undone(self.store.take_back(change_id, along))

    def _undone(self, taken_back: str | None) -> str | None:
        if [rule.source for rule in self.rules()] != [rule.source for rule in self.pipeline.rules]:
            self.reload_rules()
        return taken_back

    def take_again(self) -> int:
        """Decode the stored rejections anew with the rules in force; return how many messages were taken in."""
        broker = self.settings.broker
        return take_again(self.store, self.rules(), prefix=broker.prefix, gateways=broker.gateways, sites=broker.sites)

    def reload_rules(self) -> None:
        """Use the rules as they now stand, and listen to their topics."""
        rules = self.rules()
        self.pipeline.rules = rules
        self.subscriber.listen_to([rule.filter for rule in rules])


def files_of(database: Path) -> tuple[Path, Path]:
    """The cellar's file, and the write-ahead log that belongs to it."""
    return database, database.with_name(f"{database.name}.wal")


def open_store(settings: Settings) -> Store:
    """Open the cellar. The usual directory is closed to others; one that somebody chose stays as wide as it is."""
    if settings.data_dir == default_data_dir() and settings.data_dir.is_dir():
        file_modes.tighten([settings.data_dir])
    return Store.open(settings.data_dir / DATABASE)


@contextlib.contextmanager
def running(settings: Settings, *, watch: bool = True, hooks: Hooks | None = None) -> Iterator[Service]:
    """Run everything for as long as the block runs; `hooks` are the watcher's from its first look on.

    Raises
    ------
    StoreInUse
        If another process owns the cellar.
    SettingsError
        If the embedded broker's port is taken.
    """
    threads.give_memory_back()
    threads.one_for_linear_algebra()
    logs.hide(settings.broker.password)
    with contextlib.ExitStack() as stack:
        store = open_store(settings)
        stack.callback(store.close)
        preferences = store.preferences()
        logs.hide(*preferences.notify_urls, preferences.calendar_token)
        broker = None
        if settings.embedded:
            broker = stack.enter_context(EmbeddedBroker(settings.broker, settings.data_dir))
        rules = (*settings.rules, *rule_book.stored_rules(store))
        pipeline = Pipeline(
            store,
            prefix=settings.broker.prefix,
            rules=rules,
            most=settings.broker.receive_maximum,
            repeat_window_s=settings.broker.repeat_window_s,
            gateways=settings.broker.gateways,
            sites=settings.broker.sites,
        )
        stack.callback(pipeline.close)
        pipeline.start()
        subscriber = Subscriber(
            settings.broker,
            pipeline,
            address=broker.address if broker else None,
            # Whoever speaks to our own broker means us: an unknown form is to be seen, so that it can get a rule.
            topics=("#",) if broker and not settings.broker.topics else (),
            only_311=broker is not None,
            before_connect=broker.ensure if broker else None,
        )
        subscriber.listen_to([rule.filter for rule in rules])
        stack.callback(subscriber.close)
        subscriber.start()
        outlooks = Outlooks(store)
        nightly = None
        if (directory := settings.backup.directory) is not None:
            nightly = Nightly(store, directory, hour=settings.backup.hour, keep=settings.backup.keep)
            stack.callback(nightly.close)
            nightly.start()
        service = Service(settings, store, pipeline, subscriber, outlooks, Notifier(store), broker, nightly=nightly)
        if watch:
            service.watcher = stack.enter_context(
                watching(store, outlooks, service.notifier, subscriber.publish, hooks)
            )
        yield service
