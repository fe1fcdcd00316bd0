"""Piecewright over HTTP and on the command line. No geometry here.

A request's way: JSON text (``json_text``) -> schema (``schemas``) -> what is asked for
(``reading``) -> answer (``answers``); ``routes`` and ``cli`` only carry it in and out.
"""

VERSION = "0.1.0"
