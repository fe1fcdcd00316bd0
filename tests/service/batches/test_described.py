"""What the OpenAPI document says of batches is what they really are."""

from __future__ import annotations

from pathlib import Path

from jsonschema import Draft202012Validator

from piecewright.service.http.openapi.batches import batch_paths
from piecewright.service.http.openapi.document import document
from piecewright.service.http.openapi.examples import BATCHES
from piecewright.service.settings import Settings
from tests.service.batches.asking import Json, archived, client_of, do_all, kept_in, posted, state

DOCUMENT = document(Settings())


def meets(answer: Json, name: str) -> bool:
    schema = {"$ref": f"#/components/schemas/{name}", "components": DOCUMENT["components"]}
    return [e.message for e in Draft202012Validator(schema).iter_errors(answer)] == []


def test_real_answers_meet_their_schema(tmp_path: Path) -> None:
    settings = kept_in(tmp_path)
    client = client_of(settings)
    body = {**BATCHES["spring-class"].body}
    body["items"] = [*body["items"], {"for": "Dora", "corners": "round"}]
    batch = posted(client, body)
    assert meets(batch, "BatchAnswer")
    do_all(settings)
    told = state(client, batch)
    assert meets(told, "BatchAnswer")
    assert [item["state"] for item in told["items"]] == ["done", "done", "done", "failed"]
    assert len(archived(client, batch).namelist()) == 4


def test_a_schema_is_no_rubber_stamp(tmp_path: Path) -> None:
    batch = posted(client_of(kept_in(tmp_path)))
    assert not meets({**batch, "state": "asleep"}, "BatchAnswer")
    assert not meets({**batch, "items": [{"number": 1}]}, "BatchAnswer")


def test_every_address_and_method_is_described(tmp_path: Path) -> None:
    app = client_of(kept_in(tmp_path)).application
    served = {
        (rule.rule.replace("<int:number>", "{number}").replace("<id>", "{id}"), method)
        for rule in app.url_map.iter_rules()
        if rule.endpoint.startswith("batches.")
        for method in (rule.methods or set()) - {"HEAD", "OPTIONS"}
    }
    told = {(path, m.upper()) for path, methods in batch_paths().items() for m in methods}
    assert served == told
    assert set(batch_paths()) <= set(DOCUMENT["paths"])
