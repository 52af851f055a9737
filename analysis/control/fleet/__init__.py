"""Which of very many product lines need eyes?

Tables in, table expressions out: the same expression runs on the embedded engine and on a cluster. ``one_pass``
gives the same answers from arrays where whole lines lie together. No connection is opened here.
"""
