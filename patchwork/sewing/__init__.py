"""How a block is sewn: in which order, pressed which way, to which sizes, and how true."""
