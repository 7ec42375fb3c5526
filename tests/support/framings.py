"""Framing decision lists for tests, written as plain JSON: no library and none of the product's code has a hand in them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

Four = tuple[float, float, float, float]  # x, y, width, height

INTENTS = (("fi1", "Theatrical"), ("fi2", "Streaming"))


def decision(canvas: str, intent: str, framing: Four, protection: Four | None = None) -> dict[str, Any]:
    x, y, width, height = framing
    found: dict[str, Any] = {
        "id": f"{canvas}-{intent}",
        "framing_intent_id": intent,
        "dimensions": {"width": width, "height": height},
        "anchor_point": {"x": x, "y": y},
    }
    if protection:
        x, y, width, height = protection
        found["protection_dimensions"] = {"width": width, "height": height}
        found["protection_anchor_point"] = {"x": x, "y": y}
    return found


def canvas(
    name: str,
    size: tuple[int, int],
    *decisions: dict[str, Any],
    squeeze: float = 1.0,
    effective: Four | None = None,
) -> dict[str, Any]:
    found: dict[str, Any] = {
        "id": name,
        "label": name,
        "source_canvas_id": name,
        "dimensions": {"width": size[0], "height": size[1]},
        "anamorphic_squeeze": squeeze,
        "framing_decisions": list(decisions),
    }
    if effective:
        x, y, width, height = effective
        found["effective_dimensions"] = {"width": int(width), "height": int(height)}
        found["effective_anchor_point"] = {"x": x, "y": y}
    return found


def context(label: str, *canvases: dict[str, Any], clip_id: dict[str, Any] | None = None) -> dict[str, Any]:
    return {"label": label, "canvases": list(canvases), **({"clip_id": clip_id} if clip_id else {})}


def document(*contexts: dict[str, Any], intents: tuple[tuple[str, str], ...] = INTENTS) -> dict[str, Any]:
    return {
        "uuid": "6f3663fc-4216-4dd8-bc34-5035011db7f7",
        "version": {"major": 2, "minor": 0},
        "fdl_creator": "made up for a test",
        "default_framing_intent": intents[0][0],
        "framing_intents": [
            {"id": ident, "label": label, "aspect_ratio": {"width": 239, "height": 100}, "protection": 0.1}
            for ident, label in intents
        ],
        "contexts": list(contexts),
    }


def fdl_text(*contexts: dict[str, Any], intents: tuple[tuple[str, str], ...] = INTENTS) -> str:
    return json.dumps(document(*contexts, intents=intents), indent=1)


def write_fdl(path: Path, *contexts: dict[str, Any]) -> Path:
    path.write_text(fdl_text(*contexts))
    return path
