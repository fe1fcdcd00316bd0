"""Piecewright over HTTP and on the command line. No geometry here.

A request's way: JSON text (``json_text``) -> schema (``requests``) -> plans and drawings (of
``patchwork`` and ``render``) -> answer (``responses``), in a process of the ``drawing_pool``;
``http`` and ``cli`` only carry it in and out.
"""

VERSION = "0.1.0"
