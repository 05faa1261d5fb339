"""What the club knows from its shared tanks."""
