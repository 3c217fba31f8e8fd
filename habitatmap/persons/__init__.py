"""A person's data: every place in an area folder that names somebody, given to them or forgotten."""
