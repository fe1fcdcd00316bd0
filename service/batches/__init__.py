"""Many packets as one job: a guild's kits, one for each member.

A request (``reading``) becomes items, and items whose packet is the same but for the name
become a lot (``lots``). What is to be done and what has been done stands in a database
(``tables``, ``store``), the documents in files (``files``). A worker claims a lot for a
while, draws its master once, stamps it for each item (``work``, ``drawing``), and is ended
when a step takes too long (``watch``). Workers are processes that the service starts
(``supervisor``, ``worker``) or Celery's (``celery_app``); ``engine`` is where they are
chosen. When all items have ended, one lot more has their documents put into one. How much
is kept for one owner stands in ``bounds``; ``parts`` sweeps up what nobody needs. ``routes``
answers (``opening`` says what stands in the way); ``events`` tells progress as it happens,
``archive`` sends documents together. What cannot be kept for a while is tried again
(``rests``).
"""
