"""What the commands do, whether this process owns the cellar or a server does.

Each command is a function of a `Store` and a progress callback. `carry_out` asks the server where one runs, else opens
the store itself.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import asdict
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final, TypeVar

from analysis.planning import days_to_come, reading_fresh
from analysis.trials import Milestones
from analysis.wording import Voice, ended_verdict, plan_facts, teaches, verdict, zone_of
from ingest import control, monitoring, threads
from ingest.control import Handler, Progress
from ingest.decoding import Rule, rule_from, stored_sources
from ingest.errors import EntryError
from ingest.model import BatchRecord, Device, TrialRecord, Vessel
from ingest.monitoring import Outlook, Outlooks
from ingest.service import Service, open_store
from ingest.settings import DATABASE, Settings
from ingest.store import Store
from ingest.tastings import Tasting

T = TypeVar("T")


def plan_of(store: Store, arguments: dict[str, Any], _progress: Progress, outlooks: Outlooks | None = None) -> Any:
    """The plan of one batch, found by id, by name, or by the name of its vessel."""
    record = find_batch(store, arguments["batch"])
    outlooks = outlooks or _learned(store)
    outlook = outlooks.of(record.batch_id, now=datetime.now(UTC), fresh=True)
    if outlook is None:
        raise EntryError("batch", f"{record.name} was removed meanwhile")
    to_do, preferences = outlook.to_do(), store.preferences()
    return {
        "batch": record.name,
        "batch_id": record.batch_id,
        "phase": outlook.assessment.phase,
        "finished": outlook.assessment.finished,
        "hold_met": outlook.assessment.hold_met and reading_fresh(outlook.assessment, outlook.plan.made_at),
        "time_zone": preferences.time_zone,
        **plan_facts(outlook.plan, preferences.units),
        **days_to_come(to_do),
        "to_do": [{**asdict(each), "day": each.day.isoformat()} for each in to_do],
    }


def find_batch(store: Store, wanted: str) -> BatchRecord:
    """The batch with this id or name, or the one that is in the vessel of this name.

    Raises
    ------
    EntryError
        If there is none, or more than one; it names those there are.
    """
    records = store.all(BatchRecord)
    by_id = [r for r in records if r.batch_id == wanted]
    named = [r for r in records if r.name.casefold() == wanted.casefold()]
    running = {r.vessel_id: r for r in store.active_batches()}
    vessels = [v.vessel_id for v in store.all(Vessel) if v.name.casefold() == wanted.casefold()]
    in_vessel = [running[vessel_id] for vessel_id in vessels if vessel_id in running]
    found = by_id or named or in_vessel
    if len(found) == 1:
        return found[0]
    known = (
        ", ".join(f"{r.name} ({r.batch_id})" for r in (found or list(running.values()) or records[-10:])) or "none yet"
    )
    problem = f"no batch is called {wanted!r}" if not found else f"{len(found)} batches are called {wanted!r}"
    raise EntryError("batch", problem, f"Give its id. Batches: {known}.")


def milestones(store: Store, arguments: dict[str, Any], progress: Progress, outlooks: Outlooks | None = None) -> Any:
    """The milestones of the batches that are named, else of all: rows as in `MILESTONE_FILE`."""
    wanted = [find_batch(store, each) for each in arguments["batches"]]
    records = wanted or [r for r in store.all(BatchRecord) if store.speaks_for_itself(r)]
    outlooks = outlooks or _learned(store)
    found = []
    for number, record in enumerate(records, start=1):
        progress(f"batch {number} of {len(records)} ({100 * number // len(records)} %)")
        outlook = outlooks.of(record.batch_id, now=datetime.now(UTC), fresh=True)
        if outlook is not None:
            found.append((record, monitoring.batch_milestones(outlooks, outlook)))
    return monitoring.milestone_frame(found).to_dicts()


def report(store: Store, arguments: dict[str, Any], _progress: Progress, outlooks: Outlooks | None = None) -> Any:
    """A trial, a batch or a tasting: `facts` as JSON says them, `page` as it is printed, `rows` of its file.

    Rows are as in `MILESTONE_FILE`; of a tasting as in `SAID_FILE`.
    """
    preferences, now = store.preferences(), datetime.now(UTC)
    say = Voice(preferences.units, zone_of(preferences.time_zone), now)
    if arguments["kind"] == "tasting":
        return _tasting_report(store, find_tasting(store, arguments["name"]), say)
    outlooks = outlooks or _learned(store)

    def look(batch_id: str) -> tuple[Outlook, Milestones] | None:
        outlook = outlooks.of(batch_id, now=now, fresh=True)
        return None if outlook is None else (outlook, monitoring.batch_milestones(outlooks, outlook))

    if arguments["kind"] == "trial":
        trial = monitoring.trial_findings(store, find_trial(store, arguments["name"]), look)
        frame = monitoring.milestone_frame((each.record, each.milestones) for each in trial.batches)
        facts = monitoring.trial_facts(trial, say.units)
        return {"facts": facts, "page": asdict(monitoring.trial_page(trial, say)), "rows": frame.to_dicts()}
    record = find_batch(store, arguments["name"])
    seen = look(record.batch_id)
    if seen is None:
        raise EntryError("batch", f"{record.name} was removed meanwhile")
    outlook, found = seen
    rows = monitoring.milestone_frame([(record, found)]).to_dicts()
    told: dict[str, Any] = {
        "batch": record.name,
        "batch_id": record.batch_id,
        "drink": record.drink,
        "yeast": record.yeast,
    }
    said = ended_verdict if record.ended_at else verdict
    told |= {"verdict": said(outlook.assessment, outlook.batch.hold_h, say), "milestones": rows}
    return {"facts": told, "page": asdict(monitoring.batch_page(store, outlook, found, say)), "rows": rows}


def _tasting_report(store: Store, tasting: Tasting, say: Voice) -> dict[str, Any]:
    found = monitoring.over_or_refused(store, tasting)
    page = monitoring.tasting_page(tasting, found, monitoring.learnt_beside(store, tasting), say)
    facts = monitoring.tasting_report_facts(tasting, found)
    return {"facts": facts, "page": asdict(page), "rows": facts["said"]}


def find_trial(store: Store, wanted: str) -> TrialRecord:
    """The trial with this id or name, or the only one whose id or name begins so.

    Raises
    ------
    EntryError
        If there is none, or more than one; it names those there are.
    """
    return _the_one("trial", [(t.trial_id, t.name, t) for t in store.all(TrialRecord)], wanted)


def find_tasting(store: Store, wanted: str) -> Tasting:
    """The tasting with this id or name, or the only one whose id or name begins so; raises as `find_trial`."""
    return _the_one("tasting", [(t.tasting_id, t.name, t) for t in store.all(Tasting)], wanted)


def _the_one(kind: str, records: list[tuple[str, str, T]], wanted: str) -> T:
    sought = wanted.casefold()
    by_id = [each for each in records if each[0] == wanted]
    named = [each for each in records if each[1].casefold() == sought]
    begins = [
        each for each in records if sought and (each[0].startswith(wanted) or each[1].casefold().startswith(sought))
    ]
    found = by_id or named or begins
    if len(found) == 1:
        return found[0][2]
    known = ", ".join(f"{name} ({key})" for key, name, _ in found or records) or "none yet"
    problem = f"{len(found)} {kind}s are called {wanted!r}" if found else f"no {kind} is called {wanted!r}"
    raise EntryError(kind, problem, f"Give its name or id. {kind.capitalize()}s: {known}.")


def _learned(store: Store) -> Outlooks:
    """Outlooks of a store that no server has open, with what its batches taught."""
    threads.one_for_linear_algebra()
    outlooks = Outlooks(store)
    outlooks.learn()
    return outlooks


def import_(store: Store, arguments: dict[str, Any], progress: Progress) -> Any:
    """Take in a log or an export of a cellar."""
    from ingest import transfer

    path = Path(arguments["path"])
    if path.is_dir():
        return asdict(transfer.import_cellar(store, path, progress=progress))
    if path.suffix.lower() == ".zip":
        return asdict(transfer.import_zip(store, path, progress=progress))
    result = transfer.import_log(
        store,
        path,
        device_id=arguments.get("device"),
        columns=arguments.get("columns") or {},
        batch_id=find_batch(store, arguments["batch"]).batch_id if arguments.get("batch") else None,
        dates=arguments.get("dates"),
        progress=progress,
    )
    return {**asdict(result), **_teaches(store, arguments.get("batch"))}


def _teaches(store: Store, wanted: str | None) -> dict[str, str]:
    """What an ended batch teaches with the readings that were taken in."""
    record = find_batch(store, wanted) if wanted else None
    if record is None or record.ended_at is None:
        return {}
    from analysis import Priors, learn

    threads.one_for_linear_algebra()
    lesson = learn([store.finished(record.batch_id)], start=Priors(shipped={})).lessons()[record.batch_id]
    return {"teaches": teaches(lesson)}


def export(store: Store, arguments: dict[str, Any], progress: Progress, outlooks: Outlooks | None = None) -> Any:
    """Write everything to a directory as Parquet and CSV, or this cellar's part of a dataset."""
    from ingest import dataset, transfer

    if arguments.get("partitioned"):
        if outlooks is None:
            threads.one_for_linear_algebra()
        path, name = Path(arguments["path"]), arguments.get("cellar")
        return asdict(dataset.export_partitioned(store, path, cellar=name, outlooks=outlooks, progress=progress))
    return asdict(transfer.export_cellar(store, Path(arguments["path"]), progress=progress))


def backup(store: Store, arguments: dict[str, Any], progress: Progress) -> Any:
    """Write the cellar into one file, as it is at this moment."""
    from ingest.backup import back_up

    return asdict(back_up(store, Path(arguments["path"]), progress=progress))


def rules(store: Store, _arguments: dict[str, Any], _progress: Progress) -> Any:
    """The rules that were made on screen, as they are saved."""
    return stored_sources(store)


def devices(store: Store, _arguments: dict[str, Any], _progress: Progress) -> Any:
    """The ids of all devices that were entered or have reported."""
    return sorted({*(d.device_id for d in store.all(Device)), *(d.device_id for d in store.device_statuses())})


def rules_made_on_screen(settings: Settings) -> tuple[Rule, ...]:
    """The cellar's own rules; none where there is no cellar."""
    if control.owner(settings.data_dir) is None and not (settings.data_dir / DATABASE).exists():
        return ()
    return tuple(rule_from(source) for source in carry_out(settings, "rules", {}, lambda _: None))


def handlers(service: Service) -> dict[str, Handler]:
    """The commands that a running server answers over its control socket."""
    store = service.store

    def take_in(arguments: dict[str, Any], progress: Progress) -> Any:
        try:
            return import_(store, arguments, progress)
        finally:
            service.reload_rules()  # an export brings its own

    return {
        "plan": lambda arguments, progress: plan_of(store, arguments, progress, service.outlooks),
        "milestones": lambda arguments, progress: milestones(store, arguments, progress, service.outlooks),
        "report": lambda arguments, progress: report(store, arguments, progress, service.outlooks),
        "import": take_in,
        "export": lambda arguments, progress: export(store, arguments, progress, service.outlooks),
        "backup": lambda arguments, progress: backup(store, arguments, progress),
        "rules": lambda arguments, progress: rules(store, arguments, progress),
        "devices": lambda arguments, progress: devices(store, arguments, progress),
    }


_ALONE: Final[dict[str, Callable[[Store, dict[str, Any], Progress], Any]]] = {
    "plan": plan_of,
    "milestones": milestones,
    "report": report,
    "import": import_,
    "export": export,
    "backup": backup,
    "rules": rules,
    "devices": devices,
}


def carry_out(settings: Settings, command: str, arguments: dict[str, Any], progress: Progress) -> Any:
    """Have the server do it where one owns the cellar, else open the cellar and do it here."""
    if control.owner(settings.data_dir) is not None:
        return control.ask(settings.data_dir, command, arguments, progress=progress)
    path = settings.data_dir / DATABASE
    if command != "import" and not path.exists():
        raise EntryError("data", f"there is no cellar in {settings.data_dir}", "Name its directory with --data.")
    with open_store(settings) as store:
        return _ALONE[command](store, arguments, progress)
