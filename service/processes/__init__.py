"""Processes that are started to do dangerous work: bound to their parent, limited, ended, reaped.

Drawing may take for ever, want all memory, or crash in a library's C code, and no thread can be
stopped from outside. So it is done in processes of its own (``drawing_pool``, ``batches``):

- ``child``: a process as its parent has it: started, spoken to, heard within a deadline, killed
  and reaped, with its exit code.
- ``parent``: the other end, in the child: it ends when the parent does, however that went.
- ``memory``: a limit that a process sets itself, so that it fails in place of its machine.
- ``watchdog``: a deadline that a process keeps itself, where no parent waits for its answer.
"""
