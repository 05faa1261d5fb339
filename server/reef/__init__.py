"""What stands in and on a tank besides glass and water: rocks, rim, braces, lid, grown panes."""
