"""Sentences made from codes: reasons, cautions, and the words of the page in every language."""
