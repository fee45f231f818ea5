"""What readypair stands on: the pinned versions, their licences, and what is known against them."""
