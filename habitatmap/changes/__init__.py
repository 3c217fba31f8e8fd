"""What changed between two seasons: pools, visits, the plan carried out, and the causes of each change of a figure."""
