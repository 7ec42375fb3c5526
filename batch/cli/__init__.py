"""The command line: options, one call each, what is printed, exit codes."""
