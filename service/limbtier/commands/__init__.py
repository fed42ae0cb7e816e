"""The commands of the command line, a module a group; each adds its own to the parser."""
