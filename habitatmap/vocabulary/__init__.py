"""The trade's words, once: kinds of input, columns and their headings, outcomes and other fixed sets of values."""
