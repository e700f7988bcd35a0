"""The command line: a module to each command or group of commands."""
