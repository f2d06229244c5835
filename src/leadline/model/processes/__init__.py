"""One module a process: what it does to the amounts in a step, its source, and where it may be believed.

Every function here runs as it stands on numpy arrays of members, and is compiled as it stands for one member
(`model/kernel.py`); so nothing branches on a member's numbers.
"""
