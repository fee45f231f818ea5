"""Random damages to what the controllers of many pairs said: none may make a pair go that shouldn't."""
