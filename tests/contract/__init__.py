"""The promises of the area folder, the commands and the results, checked from outside by code of its own."""
