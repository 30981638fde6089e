"""Speed against raw baselines of the same run: printed, never asserted."""
