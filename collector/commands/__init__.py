"""The commands of the command line, one module each, and what several of them share."""
