"""The dose of a day: the open calculator, the way back from a dose, and their JSON."""
