"""What if: this tank under other lamps, with another wall."""
