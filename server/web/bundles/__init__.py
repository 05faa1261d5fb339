"""Taking things along: bundles of tanks, all one has, and leaving the club."""
