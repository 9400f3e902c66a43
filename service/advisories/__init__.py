"""Advisories: drafted by a round, told to coordinators, released to members."""
