"""Where jobs are kept: in memory, in a file, or on a database server."""
