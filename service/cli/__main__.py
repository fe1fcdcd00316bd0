"""``python -m piecewright.service.cli``, where the command is not installed."""

from piecewright.service.cli import main

if __name__ == "__main__":
    raise SystemExit(main())
