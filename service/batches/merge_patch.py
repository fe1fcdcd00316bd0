"""JSON Merge Patch (RFC 7396): how an item says in what it differs from the others."""

from __future__ import annotations

from typing import Any


def merge_patch(target: Any, patch: Any) -> Any:
    """The target with the changes of the patch; neither is altered.

    What the patch does not touch is the target's own, not a copy.

    >>> merge_patch({"sheet": {"paper": "a4"}, "unit": "cm"}, {"sheet": {"roll": 30}, "unit": None})
    {'sheet': {'paper': 'a4', 'roll': 30}}
    """
    if not isinstance(patch, dict):
        return patch
    merged = _own(target)
    # An explicit stack: JSON may be nested deeper than Python's calls may.
    waiting = [(merged, patch)]
    while waiting:
        into, changes = waiting.pop()
        for name, change in changes.items():
            if change is None:
                into.pop(name, None)
            elif isinstance(change, dict):
                into[name] = below = _own(into.get(name))
                waiting.append((below, change))
            else:
                into[name] = change
    return merged


def _own(value: Any) -> dict[str, Any]:
    return dict(value) if isinstance(value, dict) else {}
