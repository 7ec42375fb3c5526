"""The `[space]` table of a day document: what `rushlight space` may clear of the day's output folders."""

from __future__ import annotations

from pydantic import Field

from rushlight.pipelines.recipe.clip_defaults import Model

__all__ = ["Space"]


class Space(Model):
    """What may go of the day's folders, when `rushlight space day.toml --remove` is asked for ([Space](space.md)); nothing goes by itself."""

    # Strict: `keep_revisions = false` would be 0, and all revisions would go.
    keep_revisions: int = Field(
        default=2, ge=0, le=1_000_000, strict=True
    )  # newest superseded revisions that stay, of each clip and output
    older_than: int | None = Field(
        default=None, ge=1, le=100_000, strict=True
    )  # days since it was replaced; of any age where it is not stated
