"""What stewards mind: the club itself, and where everything else of theirs is."""
