"""Processes that draw, each one answer at a time, under a deadline and a limit of memory."""
