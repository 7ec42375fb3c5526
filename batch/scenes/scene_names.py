"""Scene and take from a file's name, where it spells both out: `Sc12A_Tk3`, `Scene 41 Take 02` (common practice, no source).

A camera's own names (`A001C003`) say neither, and numbers without these words may be anything: those are left alone.
"""

from __future__ import annotations

import re

__all__ = ["scene_in_name"]

_WORDS = re.compile(
    r"(?:^|[^a-z0-9])sc(?:ene)?[ _.-]?(?P<scene>\d{1,4}[a-z]{0,3})[ _.-]*(?:tk|take)[ _.-]?(?P<take>\d{1,3})(?![a-z0-9])",
    re.IGNORECASE,
)


def scene_in_name(stem: str) -> dict[str, str]:
    """`scene` and `take` that a file's stem spells out, without zeros in front; empty where it does not, or does twice."""
    found = list(_WORDS.finditer(stem))
    if len(found) != 1:
        return {}
    scene, take = found[0]["scene"].upper().lstrip("0"), found[0]["take"].lstrip("0")
    return {"scene": scene, "take": take} if scene and take else {}
