"""How a batch of the demo is entered."""

from __future__ import annotations

from ingest.model import BatchRecord, EventRecord, HandSample
from ingest.store import Store
from sample_data.demo_model import DemoBatch


def enter_batch(store: Store, batch: DemoBatch, vessel_id: str) -> BatchRecord:
    """Enter a batch with its events and samples, through the store calls that the screens use."""
    record = store.save(
        BatchRecord(
            name=batch.name,
            vessel_id=vessel_id,
            drink=batch.drink,  # type: ignore[arg-type]  # the store refuses any other
            yeast=batch.yeast,
            volume_l=batch.volume_l,
            original_gravity_sg=batch.original_gravity_sg,
            pitched_at=batch.pitched_at,
            ended_at=batch.ended_at,
            expected_low=batch.expected_low,
            expected_high=batch.expected_high,
            split_of=batch.split_of,
            plan={"dry_hops": batch.dry_hops},
        )
    )
    for event in batch.events:
        store.save(
            EventRecord(
                batch_id=record.batch_id,
                kind=event.kind,  # type: ignore[arg-type]  # the store refuses any other
                at=event.at,
                gravity_sg=event.gravity_sg,
                amount_g=event.amount_g,
                note=event.note,
                hop_variety=event.hop_variety,
                hop_form="pellets" if event.hop_variety else None,
            )
        )
    for sample in batch.hand_samples:
        store.save(
            HandSample(
                batch_id=record.batch_id, at=sample.at, value=sample.value_sg, temperature_c=sample.temperature_c
            )
        )
    return record
