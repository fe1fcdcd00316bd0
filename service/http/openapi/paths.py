"""Every address of the interface, with its operations."""

from __future__ import annotations

from typing import Any

from piecewright.service.http.openapi import examples
from piecewright.service.http.openapi.batches import batch_paths
from piecewright.service.http.openapi.examples import FAULTY, GOOD
from piecewright.service.http.openapi.operations import (
    UNIT,
    WITH_A_BODY,
    content_of,
    example_fits,
    operation,
)
from piecewright.service.http.openapi.printables import printable_paths
from piecewright.service.http.openapi.readings import reading_paths
from piecewright.service.requests.block_schemas import BlockAsPieces
from piecewright.service.requests.parse import read_request
from piecewright.service.responses.answer import JSON
from piecewright.service.responses.catalogue import Catalogue, block_answer, catalogue_answer
from piecewright.service.responses.check import CheckAnswer, check_answer
from piecewright.service.responses.health import Health, health_answer
from piecewright.service.settings import Settings


def paths(settings: Settings) -> dict[str, dict[str, Any]]:
    catalogue = catalogue_answer()
    checked = None
    if example_fits(settings):
        checked = check_answer(read_request(examples.SIGNAL_FLAG.body, settings))
    return {
        "/v1/blocks": {
            "get": operation(
                "listBlocks",
                "blocks",
                "The catalogue",
                "Every built-in block, by id. All are traditional and in the public domain.",
                {JSON: content_of(Catalogue, {**catalogue, "blocks": catalogue["blocks"][:3]})},
                parameters=[UNIT],
                problems_=(400, 406),
                lasting=True,
            )
        },
        "/v1/blocks/{id}": {
            "get": operation(
                "getBlock",
                "blocks",
                "A block of the catalogue as geometry",
                "What a request's `block` may be, to be changed and sent back.",
                {JSON: content_of(BlockAsPieces, block_answer("drunkards-path"))},
                parameters=[
                    {
                        "name": "id",
                        "in": "path",
                        "required": True,
                        "description": "As `GET /v1/blocks` lists it.",
                        "schema": {"type": "string"},
                        "example": "drunkards-path",
                    },
                    UNIT,
                ],
                problems_=(400, 404, 406),
                lasting=True,
            )
        },
        "/v1/check": {
            "post": operation(
                "checkBlock",
                "printables",
                "The block read back as pieces",
                "With sizes and cautions if the block is good; else a problem with every fault.",
                {JSON: content_of(CheckAnswer, checked)},
                body={**GOOD, **FAULTY},
                problems_=WITH_A_BODY,
                settings=settings,
            )
        },
        **printable_paths(settings),
        **reading_paths(),
        **batch_paths(),
        "/health": {
            "get": operation(
                "getHealth",
                "service",
                "Whether the service can do its work",
                "The first request of a process draws a trial document. Where batches are kept, it "
                "must be possible to open their database and their files too.",
                {JSON: content_of(Health, health_answer())},
                problems_=(503,),
            )
        },
        "/metrics": {
            "get": operation(
                "getMetrics",
                "service",
                "Figures for Prometheus",
                "In the text format of Prometheus.",
                {"text/plain": {"schema": {"type": "string"}}},
            )
        },
        "/openapi.json": {
            "get": operation(
                "getDocument",
                "service",
                "This document",
                "OpenAPI 3.1.",
                {JSON: {"schema": {"type": "object"}, "example": {"openapi": "3.1.0"}}},
                lasting=True,
            )
        },
        "/docs": {
            "get": operation(
                "getPage",
                "service",
                "This document as a page to read",
                "",
                {"text/html": {"schema": {"type": "string"}}},
                lasting=True,
            )
        },
    }
