"""The service over HTTP: addresses, access, problems, the pages, and the OpenAPI document."""
