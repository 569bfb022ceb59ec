"""Widgets that more than one screen uses.

A part shows its properties and reports touches as events; it asks nothing and decides nothing.  A screen binds
to these properties and events and never reaches into a part's ids.
"""
