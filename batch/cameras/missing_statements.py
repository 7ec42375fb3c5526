"""What nobody states of the clips of a plan, gathered by camera: said once a camera, with the lines that would state it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from pathlib import Path

from rushlight.batch.cameras.camera_groups import CameraGroup, Seen, camera_groups
from rushlight.batch.records.summary import Missing
from rushlight.pipelines.counted import counted, shortened
from rushlight.pipelines.toml_files import toml_text

__all__ = ["encoding_line", "missing_statements"]

DIFFER = (
    ". They are of several kinds: where one encoding is not true of all, give each kind a table with `file`"
)


def missing_statements(unstated: Sequence[Seen], alone: Collection[str], file: Path | None) -> list[Missing]:
    """The encodings that nobody states, a camera each, in order of the cameras' letters. `alone` are the clips with nothing else
    wrong; `file` is the day document or the file of defaults, if one was given."""
    return [_missing(group, alone, str(file or "")) for group in camera_groups(unstated)]


def encoding_line(group: CameraGroup) -> str:
    """The line of a `[[default]]` table that states a camera's encoding, with what is to be done about it."""
    if group.suggested:
        return f"encoding = {toml_text(group.suggested)}  # as the header suggests: check it"
    return 'encoding = "NAME"  # `rushlight encodings` lists the names'


def _missing(group: CameraGroup, alone: Collection[str], file: str) -> Missing:
    clips = [seen.clip for seen in group.clips]
    header = f"; its header says {group.header}" if group.header and group.letter else ""
    return Missing(
        key="encoding",
        camera=group.name,
        text=f"nobody states the encoding of {group.name}, {counted(len(clips), 'clip')}: {shortened(clips)}"
        f" ({group.formats}{header}){DIFFER if group.kinds else ''}",
        clips=clips,
        alone=[clip for clip in clips if clip in alone],
        suggested=group.suggested,
        file=file,
        lines=group.tables([encoding_line(group)]),
    )
