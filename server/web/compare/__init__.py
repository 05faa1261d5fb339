"""Learning from each other: setups side by side, tanks alike, which lamp, what if."""
