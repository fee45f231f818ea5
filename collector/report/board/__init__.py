"""The fleet board: a folder of pages out of the store, for any web server or none."""
