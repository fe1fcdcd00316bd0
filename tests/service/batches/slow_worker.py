"""A worker process of the service's own with slow drawings."""

import sys

from piecewright.service.batches.worker import main
from tests.service.batches.slow import SlowPackets

if __name__ == "__main__":
    sys.exit(main(sys.argv[1:], SlowPackets()))
