"""One step a file, named by its revision; their numbers grow."""
