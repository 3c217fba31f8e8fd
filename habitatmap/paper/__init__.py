"""What goes on paper: PDF by typst, map pictures as SVG and PNG."""
