"""What programs use: /api, described by itself."""
