"""Where a scouting window is decided and told: root zone, window rule, notices, digests."""
