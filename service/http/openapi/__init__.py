"""The OpenAPI document: made from the schemas, with examples that are really answered."""
