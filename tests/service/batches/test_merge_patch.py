"""Merge patches, against every example of RFC 7396, its appendix A and section 3."""

from __future__ import annotations

import copy
import json
from typing import Any

import pytest

from piecewright.service.batches.merge_patch import merge_patch

APPENDIX_A = [
    ('{"a":"b"}', '{"a":"c"}', '{"a":"c"}'),
    ('{"a":"b"}', '{"b":"c"}', '{"a":"b","b":"c"}'),
    ('{"a":"b"}', '{"a":null}', "{}"),
    ('{"a":"b","b":"c"}', '{"a":null}', '{"b":"c"}'),
    ('{"a":["b"]}', '{"a":"c"}', '{"a":"c"}'),
    ('{"a":"c"}', '{"a":["b"]}', '{"a":["b"]}'),
    ('{"a":{"b":"c"}}', '{"a":{"b":"d","c":null}}', '{"a":{"b":"d"}}'),
    ('{"a":[{"b":"c"}]}', '{"a":[1]}', '{"a":[1]}'),
    ('["a","b"]', '["c","d"]', '["c","d"]'),
    ('{"a":"b"}', '["c"]', '["c"]'),
    ('{"a":"foo"}', "null", "null"),
    ('{"a":"foo"}', '"bar"', '"bar"'),
    ('{"e":null}', '{"a":1}', '{"e":null,"a":1}'),
    ("[1,2]", '{"a":"b","c":null}', '{"a":"b"}'),
    ("{}", '{"a":{"bb":{"ccc":null}}}', '{"a":{"bb":{}}}'),
]
SECTION_3 = (
    '{"title":"Goodbye!","author":{"givenName":"John","familyName":"Doe"},'
    '"tags":["example","sample"],"content":"This will be unchanged"}',
    '{"title":"Hello!","phoneNumber":"+01-123-456-7890","author":{"familyName":null},'
    '"tags":["example"]}',
    '{"title":"Hello!","author":{"givenName":"John"},"tags":["example"],'
    '"content":"This will be unchanged","phoneNumber":"+01-123-456-7890"}',
)


@pytest.mark.parametrize(("original", "patch", "result"), [*APPENDIX_A, SECTION_3])
def test_the_examples_of_rfc_7396(original: str, patch: str, result: str) -> None:
    assert merge_patch(json.loads(original), json.loads(patch)) == json.loads(result)


@pytest.mark.parametrize(("original", "patch", "result"), [*APPENDIX_A, SECTION_3])
def test_neither_side_is_altered(original: str, patch: str, result: str) -> None:
    target, changes = json.loads(original), json.loads(patch)
    before = copy.deepcopy((target, changes))
    merge_patch(target, changes)
    assert (target, changes) == before


def test_a_patch_may_be_nested_deeper_than_calls_may() -> None:
    deep: Any = 1
    for _ in range(5000):
        deep = {"a": deep}
    merged = merge_patch({"a": {"b": 2}}, deep)
    assert merged["a"]["b"] == 2
    for _ in range(5000):
        merged = merged["a"]
    assert merged == 1
