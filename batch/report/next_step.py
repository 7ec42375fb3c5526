"""What to do about a problem: the usual next step by its kind, for a sentence that does not say one itself."""

from __future__ import annotations

import re

__all__ = ["MEASURED", "next_step"]

MEASURED = "measured again, "  # begins what `verify` found wrong with a delivered clip

# Words by which a sentence of ours says what would do.
_SAYS_ONE = re.compile(
    r"(?:[;,.:] +|\()(?:or |then |so )?(?:add|ask|bring|check|copy|give|go on|install|leave out|list|look|mend|move|name|please|put|"
    r"remove|rename|render|run|see to|state|take|use|wait|write)\b(?![:=])"
    r"|(?:[;:,] |\bit )takes\b|\btakes? (?:it|them|one|a|an|only|the|[a-z_]+ = )|\b(?:would|will) do\b|\bsays it\b|\boverrules\b|\bmay be one\b"
    r"|\bmust (?:be|say|state)\b|\bneeds? (?:each|a|an|the)\b|\bmeant\?|\bdecides$|--[a-z]",
    re.IGNORECASE,
)
_AGAIN = "then run the same command again"
_COPY = (
    "Compare it with the card that it came from (`rushlight check`) and copy it again where it differs, "
    f"{_AGAIN}. If the card has no better one, ask the camera department"
)

# Kinds of problem, the first that fits: what its sentence has, and the step.
_KINDS: tuple[tuple[str, str], ...] = (
    (
        r"a fault of rushlight's own",
        "Please report it as CONTRIBUTING.md says, with log/errors.txt; no other clip is touched by it",
    ),
    (
        r"no space left on the disk|disk quota is used up",
        f"Make room on that disk (`rushlight space` shows what of older revisions may go), {_AGAIN}",
    ),
    (
        r"the disk is read-only|Input/output error",
        f"See to that disk, its cable and its reader before anything else is written there, {_AGAIN}",
    ),
    (
        r"out of memory|too many open files|short of memory, disk or files|workers died on it|process that measured it died",
        "Run the same command again with fewer --workers and nothing else on the machine",
    ),
    (
        rf"^{MEASURED}.*is not there",
        "Run the same command again, which makes the file anew, and `rushlight verify` after it",
    ),
    (
        f"^{MEASURED}",
        "Hand nothing of this clip on. Move its wrong file away and run the same command again, which makes it anew, and "
        "`rushlight verify` after it; if it fails once more, please report it",
    ),
    (r"its record does not read", "Put the log back from a copy, or render the clip again"),
    (r"was cut short|is cut short|ends early|ends before", _COPY),
    (
        r"no such original|no original of that name|named by a manifest of the offload|(?:is|are) not there|file number \d+ is missing"
        r"|lacks (?:its|\d+ of its) file|no files match|No such file",
        f"Bring its card or its copy back to where it was looked for, or mend its name in the list, {_AGAIN}",
    ),
    (
        r"does not open(?! again)|do(?:es)? not decode|none of its pictures decodes|header is damaged|holds no picture|not readable"
        r"|which no camera makes|states n(?:o|either) |without a time stamp",
        f"Play the original elsewhere. {_COPY}",
    ),
    (r"has changed since|growing", f"Wait until nothing writes to it any more, {_AGAIN}"),
    (
        r"refuses ungraded",
        f"Give its grade (--grades, or columns of its row), or let the recipe take clips without one (`ungraded` = `warn`), {_AGAIN}",
    ),
    (r"the recipe refuses it", f"Let the recipe take it, or leave the clip out of the list, {_AGAIN}"),
    (r"Permission denied", f"See to the permissions of that file and its folder, {_AGAIN}"),
    (
        r"was made, but |does not open again|does not read whole|cannot be (?:created|written)|instead of \d"
        r"|segments? |was not made$",
        "Run the same command again, which makes it anew; if it fails again, see to the disk that it goes to",
    ),
    (
        r"\.(?:csv|tsv|edl|otio):\d+: [a-z_0-9]+: ",  # a column of it
        f"Mend that line of the list, {_AGAIN}",
    ),
    (r"^not made yet$", "Run the same command again: it goes on where it was"),
    (r"taken out of the queue by hand", "If it is wanted after all, render its list itself"),
    (
        r"with another [a-z, ]+ in each|original in another folder for each",
        "Keep its row in one list, or make the rows alike",
    ),
    (r"an original that no row of a list names", "If it is wanted, add a row of it to the list"),
    (
        r"decoder reports|may be spoilt",
        "Look at these frames; where a better copy of the original is found, the same command makes the clip again",
    ),
    (r"^caution: ", "Look at the clip there before it is handed on"),
)
_FOUND = tuple((re.compile(pattern, re.IGNORECASE), step) for pattern, step in _KINDS)


def next_step(text: str) -> str:
    """The usual next step for a problem, without a full stop at its end; empty where its sentence says what would do, or is
    of no kind that is known here: better none than a wrong one."""
    if _SAYS_ONE.search(text):
        return ""
    return next((step for pattern, step in _FOUND if pattern.search(text)), "")
