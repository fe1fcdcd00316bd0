"""What is printed: a module for each printable, from a plan to drawings."""
