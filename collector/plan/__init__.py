"""The window on paper: how long it takes, when to turn back, what restarts together and which night is whose."""
