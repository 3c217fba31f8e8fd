"""Who goes where: routes on foot, rounds by week, and which pool type is set out where by random assignment."""
