"""What a run found, as typed values."""
