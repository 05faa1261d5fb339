"""The plan of a tank's light: three linked views, and what would be if lamps hung otherwise."""
