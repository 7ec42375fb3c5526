"""Write the clip tables `clips.csv` and `clips.otio` into each folder of movies, as files of the delivery."""

from __future__ import annotations

from pathlib import Path

import xxhash

from rushlight.batch.job_log import Log, latest
from rushlight.batch.plan.request_ledger import day_of, read_askings
from rushlight.batch.report.clip_table import clips_by_folder, clips_csv
from rushlight.batch.report.clip_timeline import clips_otio
from rushlight.batch.report.mhl_manifest import ManifestFile
from rushlight.pipelines.inside_folder import stat_of, write_unless_same

__all__ = ["TABLES", "write_clip_tables"]

TABLES = ("clips.csv", "clips.otio")


def write_clip_tables(out: Path, log: Log) -> list[ManifestFile]:
    """Bring the tables of an output folder up to its log; one that says the same already is left as it is. Gives all of
    them as the hash manifest lists files."""
    known = latest(log.records)
    title = day_of(read_askings(out)[0], known).title
    found = []
    for folder, clips in clips_by_folder(known.values(), title).items():
        for name, text in zip(TABLES, (clips_csv(clips), clips_otio(folder, clips)), strict=True):
            found.append(_written(out, f"{folder}/{name}", text.encode("utf-8", "replace")))
    return found


def _written(out: Path, path: str, data: bytes) -> ManifestFile:
    write_unless_same(out, path, data, sync=True)
    info = stat_of(out, path)
    digest = xxhash.xxh3_128_hexdigest(data)
    return ManifestFile(path=path, size=len(data), mtime_ns=info.st_mtime_ns, xxh128=digest)
