"""Where things lie: reference systems, the raster frame, the flight kernel, and where tiles run."""
