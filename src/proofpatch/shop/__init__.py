"""The records of the shop; so far one job file and the log of its patches."""
