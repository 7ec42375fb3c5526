"""What nobody states of a camera's clips, said once a camera."""

from __future__ import annotations

from pydantic import Field

from rushlight.batch.records.shape import Shape

__all__ = ["Missing"]


class Missing(Shape):
    """Something that a person has to state of a camera, and the lines that would."""

    key: str = Field(description="What is missing: `encoding`.")
    camera: str = Field(description="Camera, as far as names and headers tell.")
    text: str = Field(description="Sentence for people.")
    clips: list[str] = Field(description="Clips that it is missing of.")
    alone: list[str] = Field(description="Those of them with nothing else wrong.")
    suggested: str = Field(description="What the headers suggest, to be checked by a person; may be empty.")
    file: str = Field(description="Document that the lines belong in; empty where none is given yet.")
    lines: str = Field(description="The lines, as TOML.")

    @property
    def sentence(self) -> str:
        """What is missing, and where its lines belong."""
        where = self.file or "a day.toml, or a file for --defaults"
        return f"{self.text}. Put this into {where}:"

    def said(self, margin: str = "    ") -> str:
        """All of it, for people: the sentence, then the lines."""
        return "\n".join((self.sentence, *(margin + line for line in self.lines.splitlines())))
