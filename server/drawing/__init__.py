"""Numbers to SVG geometry; knows no word of light."""
