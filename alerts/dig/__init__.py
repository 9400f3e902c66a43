"""Where to dig, how many vines, on which days, and what that can show."""
