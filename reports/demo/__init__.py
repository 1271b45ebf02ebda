"""The invented laboratory: its data, its instrument and its week, told through the same actions as real work."""
