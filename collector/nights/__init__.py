"""Night after night: what a pair was like on each, what moved between two of them, and where that leads."""
