"""Physics of young concrete as pure functions over arrays, in SI. Knows no job, file, date or time zone.

Scalars and arrays go in and broadcast; scalars come back as numpy scalars. One phenomenon to a module.
"""
