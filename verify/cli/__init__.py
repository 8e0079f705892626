"""The commands: parse, call, print, exit. Nothing else prints or chooses the exit status."""
