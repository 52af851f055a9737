"""How does a blend of a whole make the response? (see ``family``)"""
