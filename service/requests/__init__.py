"""What a request may say: its fields, its schemas, and how it becomes a block and settings."""
