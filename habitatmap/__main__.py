"""`python -m habitatmap`."""

from habitatmap.cli.main import main

main()
