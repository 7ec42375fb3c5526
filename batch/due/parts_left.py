"""Parts of clips (`--range`, `--still`) that stay as they were made before their clips are made anew: said, since nobody asked for them."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from rushlight.batch.queue.filling import Turn
from rushlight.batch.records.job_record import JobRecord
from rushlight.pipelines.counted import counted

__all__ = ["parts_left"]


def parts_left(turns: Iterable[Turn], records: Mapping[str, JobRecord]) -> list[str]:
    """A sentence on each clip that is delivered and made anew now, and has parts that no turn makes."""
    now = {turn.spec.job: turn.spec.clip for turn in turns}
    again = {clip for job, clip in now.items() if job in records and records[job].outputs}
    parts: dict[str, list[str]] = {}
    for record in records.values():
        clip = record.clip.removesuffix(f" {record.excerpt}")
        if record.excerpt and record.status == "done" and clip in again and record.job not in now:
            parts.setdefault(clip, []).append(record.excerpt)
    return [
        f"{clip} is made anew; {counted(len(found), 'part')} of it made before ({', '.join(found[:4])}{', …' if len(found) > 4 else ''}) "
        "stay as they are until asked for again, or until `render --from` this folder"
        for clip, found in parts.items()
    ]
