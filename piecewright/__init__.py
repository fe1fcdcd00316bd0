"""The name under which all of it is imported and installed.

The folders ``patchwork``, ``render`` and ``service`` stand at the top of the repository, where
they are found at once. Links bring them in here, so that an installed wheel adds this one name
and nothing else; ``docs/decisions/one-importable-name.md`` says why it is done so.
"""
