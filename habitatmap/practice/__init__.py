"""What seemed to work, and how long pools last."""
