"""What the documents of a print job are made with: one master, stamped with each name."""

from __future__ import annotations

import io
from collections.abc import Iterable
from typing import Any, Protocol

import pikepdf

from piecewright.render.output.collating import collate
from piecewright.render.output.stamping import stamped
from piecewright.service.requests.parse import read_packet
from piecewright.service.responses.maker_packet import maker_packet_pdf
from piecewright.service.responses.packet import packet_answer
from piecewright.service.settings import Settings


class PacketMaker(Protocol):
    """How documents are made. Workers are given another one where tests need them to be slow."""

    def draw(self, packet: dict[str, Any], settings: Settings) -> bytes:
        """The PDF of a packet request without a name.

        Raises:
            Refused: the request is wrong.
        """

    def stamp(self, master: bytes, name: str) -> bytes:
        """The PDF with a name on every sheet; as it is for an empty one."""

    def collate(self, copies: Iterable[tuple[str, bytes]], title: str) -> bytes:
        """Everybody's sheets in one PDF.

        Args:
            copies: names and the masters to be stamped with them, in order; one at least.
        """


class Packets:
    """Packets as ``/v1/packet`` makes them, and those of a quilt's makers."""

    def draw(self, packet: dict[str, Any], settings: Settings) -> bytes:
        if "maker" in packet:
            return maker_packet_pdf(packet, settings)
        asked = read_packet(packet, settings)
        return packet_answer(asked, "pdf", settings.max_sheets).content

    def stamp(self, master: bytes, name: str) -> bytes:
        return stamped(master, name)

    def collate(self, copies: Iterable[tuple[str, bytes]], title: str) -> bytes:
        out = io.BytesIO()
        collate(copies, title, out)
        return out.getvalue()


def page_count(document: bytes) -> int:
    """How many pages a PDF has."""
    with pikepdf.open(io.BytesIO(document)) as pdf:
        return len(pdf.pages)
