"""The account of a tank's light: what everybody gets, how sure, what to do, what to type.

Worked out once here, worded once in `sentences`; pages, cards, feeds and JSON only show it.
"""
