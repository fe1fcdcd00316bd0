"""The addresses of batches: progress as JSON and as events, documents, archives."""
