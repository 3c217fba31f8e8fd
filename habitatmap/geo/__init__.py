"""Where things lie: reference systems, the raster frame and its masks, the flight kernel, and where tiles run."""
